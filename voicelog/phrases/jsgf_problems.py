"""What is wrong with a JSGF text, in words a person can act on.

Invariant: every complaint of the parser gets a sentence and a remedy; a token is never shown by
the parser's own name for it.
"""

from __future__ import annotations

from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from voicelog.errors import GrammarError, at


def syntax_error(problem: UnexpectedInput, source: str) -> GrammarError:
    """Word a parser's complaint: what stands in the way, and what to write."""
    where = at(source, problem.line if problem.line > 0 else None)
    if isinstance(problem, UnexpectedToken):
        found, wanted = str(problem.token), problem.accepts or problem.expected
        if "GRAMMAR" in wanted or "GRAMMAR_NAME" in wanted:
            return GrammarError(
                "the grammar has no name", where=where, remedy='write "grammar NAME;" after the header line'
            )
        for closing, mark, opening in (("RPAR", ")", "("), ("RSQB", "]", "[")):
            if closing in wanted and found in (";", ")", "]", "=", ""):
                return GrammarError(
                    f'a "{opening}" is not closed', where=where, remedy=f'close it with "{mark}"'
                )
        if problem.token.type == "$END":
            return GrammarError(
                "the file ends in the middle of a rule", where=where, remedy='end the rule with ";"'
            )
        if found == "=" and "SEMICOLON" in wanted:
            return GrammarError(
                '"=" stands inside a rule', where=where, remedy='end the rule before it with ";"'
            )
        if found in (")", "]") and "SEMICOLON" in wanted:
            return GrammarError(
                f'"{found}" closes nothing', where=where, remedy="take it out, or open it first"
            )
        if found in ("|", ";", ")", "]") and "TOKEN" in wanted:
            return GrammarError(
                f'no words before "{found}"', where=where, remedy="write the words, or <NULL> for none at all"
            )
        if problem.token.type == "WEIGHT":
            return GrammarError(
                f"the weight {found} is not at the start of an alternative",
                where=where,
                remedy='write the weight right after "=", "|" or "("',
            )
        return GrammarError(
            f'"{found}" is not expected here',
            where=where,
            remedy='write each rule as "<name> = words | other words;"',
        )
    found = problem.char if isinstance(problem, UnexpectedCharacters) else ""
    remedies = {
        '"': "close the quoted words with a second quotation mark",
        "{": "close the tag with } and write a } inside it as \\}",
        "/": "write a weight as /10/, and a comment after // or between /* and */",
        "<": "write a rule's name between < and >, without spaces",
    }
    return GrammarError(
        f'"{found}" begins something that cannot be read',
        where=where,
        remedy=remedies.get(found, 'write each rule as "<name> = words | other words;"'),
    )
