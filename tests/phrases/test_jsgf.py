"""JSGF in and out: the same phrases and tags, and a plain word for whatever cannot be used.

The format is the W3C Note "JSpeech Grammar Format" of 5 June 2000.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.speech_data import SPEECH
from voicelog.errors import GrammarError
from voicelog.phrases.expression import (
    Choice,
    Expression,
    Grammar,
    Maybe,
    Null,
    Repeat,
    Rule,
    Sequence,
    Tag,
    Void,
    Words,
)
from voicelog.phrases.jsgf import load_jsgf, read_jsgf, write_jsgf

ORDERS = SPEECH / "orders.jsgf"

COMMANDS = """#JSGF V1.0;

grammar com.example.commands;

/**
 * The command-and-control example of the specification.
 */
public <basicCmd> = <startPolite> <command> <endPolite>;

<command> = <action> <object>;
<action> = /10/ open |/2/ close |/1/ delete |/1/ move;
<object> = [the | a] (window | file | menu);

<startPolite> = (please | kindly | could you | oh mighty computer) *;
<endPolite> = [ please | thanks | thank you ];
"""

# A sentence is a string of symbols: words, and "<name=value" and ">" where a tag opens and closes.
Sentence = tuple[str, ...]


def joined(first: Iterable[Sentence], second: set[Sentence], most: int) -> set[Sentence]:
    """Return every sentence of ``first`` followed by one of ``second``, of ``most`` symbols at most."""
    return {a + b for a in first for b in second if len(a) + len(b) <= most}


def sentences(expression: Expression, rules: Mapping[str, Expression], most: int) -> set[Sentence]:
    """Return all sentences of at most ``most`` symbols, by brute force."""
    match expression:
        case Words(said):
            return {said} if len(said) <= most else set()
        case Sequence(items):
            whole: set[Sentence] = {()}
            for item in items:
                whole = joined(whole, sentences(item, rules, most), most)
            return whole
        case Choice(items):
            return set().union(*(sentences(item, rules, most) for item in items))
        case Maybe(item):
            return {()} | sentences(item, rules, most)
        case Repeat(item, minimum):
            once = sentences(item, rules, most)
            found: set[Sentence] = set(once) if minimum else {()}
            fresh = set(found)
            while fresh:
                fresh = joined(fresh, once, most) - found
                found |= fresh
            return found
        case Rule(name):
            return sentences(rules[name], rules, most)
        case Tag(name, value, item):
            inner = sentences(item, rules, most - 2) if most >= 2 else set()
            return {(f"<{name}={value}", *sentence, ">") for sentence in inner}
        case Null():
            return {()}
        case Void():
            return set()


def phrases_of(grammar: Grammar, most: int) -> set[Sentence]:
    """Return all sentences of the public rules of at most ``most`` symbols."""
    return set().union(*(sentences(grammar.rules[name], grammar.rules, most) for name in grammar.public))


def derivations(expression: Expression, rules: Mapping[str, Expression]) -> int:
    """Return in how many ways an expression without repeats can be said."""
    match expression:
        case Sequence(items):
            product = 1
            for item in items:
                product *= derivations(item, rules)
            return product
        case Choice(items):
            return sum(derivations(item, rules) for item in items)
        case Maybe(item):
            return 1 + derivations(item, rules)
        case Rule(name):
            return derivations(rules[name], rules)
        case Words():
            return 1
        case _:
            raise AssertionError(f"not expected in this grammar: {expression}")


def only(text: str) -> Expression:
    """Return what ``text`` becomes as the body of a rule, beside the rules <a> and <b>."""
    return read_jsgf(f"#JSGF V1.0;\ngrammar g;\npublic <x> = {text};\n<a> = alpha;\n<b> = beta;\n").rules["x"]


# The specification's own example


def test_the_specifications_example_has_the_counts_worked_out_by_hand() -> None:
    """4 actions x 3 openings x 3 objects = 36 commands; with 4 endings 144 without an opening."""
    grammar = read_jsgf(COMMANDS)
    assert grammar.name == "com.example.commands"
    assert grammar.public == ("basicCmd",)
    assert grammar.rule_spans
    rules = grammar.rules
    commands = sentences(Rule("command"), rules, 9)
    assert len(commands) == 36
    assert len(sentences(Sequence((Rule("command"), Rule("endPolite"))), rules, 9)) == 144


@pytest.mark.parametrize(
    "said",
    [
        "open window",
        "close file",
        "please kindly delete the menu thank you",
        "oh mighty computer please kindly delete menu thanks",
    ],
)
def test_the_specifications_example_accepts(said: str) -> None:
    """Sentences of the example, "*" and optional parts included."""
    assert tuple(said.split()) in phrases_of(read_jsgf(COMMANDS), 9)


@pytest.mark.parametrize(
    "said", ["open", "please", "open a the file", "the window open", "move a menu thanks please", ""]
)
def test_the_specifications_example_rejects(said: str) -> None:
    """Sentences outside the example; <endPolite> is one ending at most."""
    assert tuple(said.split()) not in phrases_of(read_jsgf(COMMANDS), 9)


def test_the_specifications_weights_are_kept() -> None:
    """The weights 10, 2, 1, 1 of the example are read and written."""
    grammar = read_jsgf(COMMANDS)
    action = Choice(tuple(Words((word,)) for word in ("open", "close", "delete", "move")), (10, 2, 1, 1))
    assert grammar.rules["action"] == action
    assert read_jsgf(write_jsgf(grammar)) == grammar


# Reading


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("open", Words(("open",))),
        ("Open  the\n Door", Words(("open", "the", "door"))),
        ("open [the] door", Sequence((Words(("open",)), Maybe(Words(("the",))), Words(("door",))))),
        ("a | b", Choice((Words(("a",)), Words(("b",))))),
        ("(a | b) c", Sequence((Choice((Words(("a",)), Words(("b",)))), Words(("c",))))),
        ("a b | c", Choice((Words(("a", "b")), Words(("c",))))),
        ("a b *", Sequence((Words(("a",)), Repeat(Words(("b",)), 0)))),
        ("(a b)+", Repeat(Words(("a", "b")), 1)),
        ("<a>", Rule("a")),
        ("<g.a>", Rule("a")),
        ("<NULL>", Null()),
        ("a <NULL> b", Words(("a", "b"))),
        ("<VOID>", Void()),
        ("open {OPEN}", Tag("tag", "OPEN", Words(("open",)))),
        ("please open {OPEN}", Sequence((Words(("please",)), Tag("tag", "OPEN", Words(("open",)))))),
        ("(left | port) {side=left}", Tag("side", "left", Choice((Words(("left",)), Words(("port",)))))),
        ("a {x} {y}", Tag("tag", "y", Tag("tag", "x", Words(("a",))))),
        ("a {x}*", Repeat(Tag("tag", "x", Words(("a",))), 0)),
        ("a {say=}", Tag("say", "", Words(("a",)))),
        (r"a {\{x\} \\}", Tag("tag", r"{x} \\"[:-1], Words(("a",)))),
        ("a {$.x = 5;}", Tag("tag", "$.x = 5;", Words(("a",)))),
        ("a { // not a comment }", Tag("tag", " // not a comment ", Words(("a",)))),
        ('"New York"', Words(("new", "york"))),
        (r'"say \"when\""', Words(("say", '"when"'))),
        ('"/* no */"', Words(("/*", "no", "*/"))),
        ("i'd like twenty-one", Words(("i'd", "like", "twenty-one"))),
        ("d'être 왼쪽 größe", Words(("d'être", "왼쪽", "größe"))),
        ("public import grammar", Words(("public", "import", "grammar"))),
        ("/0.5/ a | /1e-3/ b", Choice((Words(("a",)), Words(("b",))), (0.5, 0.001))),
        ("/2/ a", Words(("a",))),
        ("and/or", Words(("and/or",))),
        ("a // the first\n | b /* the\n second */", Choice((Words(("a",)), Words(("b",))))),
        ("a// no space\n b/* none */c", Words(("a", "b", "c"))),
    ],
)
def test_what_a_rule_body_means(text: str, meant: Expression) -> None:
    """Each construct of the Note, and how tightly it binds."""
    assert only(text) == meant


@pytest.mark.parametrize(
    "header",
    ["#JSGF V1.0;", "#JSGF V1.0 UTF-8;", "#JSGF V1.0 ISO8859-1 en;", "\ufeff#JSGF V1.0 ;", "#JSGF V1.0;\r\n"],
)
def test_headers(header: str) -> None:
    """The self-identifying header with and without encoding and locale."""
    assert read_jsgf(f"{header} grammar g; public <x> = a;").rules == {"x": Words(("a",))}


@pytest.mark.parametrize(
    ("encoding", "header"),
    [
        ("utf-8", "#JSGF V1.0;"),
        ("utf-8-sig", "#JSGF V1.0 UTF-8;"),
        ("latin-1", "#JSGF V1.0 ISO8859-1 fr;"),
        ("utf-16", "#JSGF V1.0 UTF-16;"),
    ],
)
def test_a_file_is_read_in_the_encoding_its_header_names(tmp_path: Path, encoding: str, header: str) -> None:
    """Words with accents survive each encoding."""
    path = tmp_path / "g.jsgf"
    path.write_bytes(f"{header}\ngrammar g;\npublic <x> = fenêtre;\n".encode(encoding))
    grammar = load_jsgf(path)
    assert grammar.rules == {"x": Words(("fenêtre",))}
    assert grammar.source == str(path)


HEAD = "#JSGF V1.0;\ngrammar g;\n"


@pytest.mark.parametrize(
    ("text", "line", "what", "remedy"),
    [
        ("", None, "the file is empty", "#JSGF V1.0;"),
        ("grammar g; public <x> = a;", 1, "not a JSGF grammar", "#JSGF V1.0;"),
        ("// first\n#JSGF V1.0;\ngrammar g;\npublic <x> = a;", 1, "not a JSGF grammar", "#JSGF V1.0;"),
        ("#JSGF V1.0\ngrammar g;\npublic <x> = a;", 1, "not a JSGF grammar", "#JSGF V1.0;"),
        ("#JSGF V2.0;\ngrammar g;\npublic <x> = a;", 1, "version 2.0", "#JSGF V1.0;"),
        ("#JSGF V1.0;\npublic <x> = a;", 2, "has no name", "grammar NAME;"),
        ("#JSGF V1.0;\ngrammar ;\npublic <x> = a;", 2, "has no name", "grammar NAME;"),
        ("#JSGF V1.0;\n", 1, "has no name", "grammar NAME;"),
        (HEAD, None, "no rules", "public"),
        (HEAD + "<x> = a;", None, "no rule is public", "public <phrase>"),
        (HEAD + "import <com.acme.digits>;\npublic <x> = a;", 3, "cannot be imported", "copy the rules"),
        (HEAD + "import <com.acme.*>;\npublic <x> = a;", 3, "cannot be imported", "copy the rules"),
        (HEAD + "public <x> = <other.digit>;", 3, "another grammar", "copy that rule"),
        (HEAD + "public <x> = a\n  <size>;", 4, "<size> is not defined", "<size> = ...;"),
        (HEAD + "public <x> = a;\n<x> = b;", 4, "defined twice, first on line 3", "another name"),
        (HEAD + "public <x> = a [<x>];", 3, "<x> to <x>", "* (none or more)"),
        (HEAD + "public <x> = <y>;\n<y> = a | <z>;\n<z> = <y> b;", 5, "<y> to <z> to <y>", "+ (one or more)"),
        (HEAD + "<NULL> = a;\npublic <x> = a;", 3, "reserved", "another name"),
        (HEAD + "public <x> = a\n<y> = b;", 4, '"=" stands inside a rule', 'before it with ";"'),
        (HEAD + "public <x> = a", 3, "middle of a rule", 'end the rule with ";"'),
        (HEAD + "public <x> = (a | b;", 3, '"(" is not closed', 'close it with ")"'),
        (HEAD + "public <x> = [a | b;", 3, '"[" is not closed', 'close it with "]"'),
        (HEAD + "public <x> = a | b];", 3, '"]" closes nothing', "take it out"),
        (HEAD + "public <x> = a | ;", 3, 'no words before ";"', "<NULL>"),
        (HEAD + "public <x> = ;", 3, 'no words before ";"', "<NULL>"),
        (HEAD + "public <x> = [];", 3, 'no words before "]"', "<NULL>"),
        (HEAD + "public <x> = a ();", 3, 'no words before ")"', "<NULL>"),
        (HEAD + 'public <x> = "a;\n', 3, "cannot be read", "quotation mark"),
        (HEAD + "public <x> = a {b;\n", 3, "cannot be read", "close the tag"),
        (HEAD + "public <x> = a {b}};\n", 3, "cannot be read", "words"),
        (HEAD + "public <x> = /ten/ a;", 3, "cannot be read", "/10/"),
        (HEAD + "public <x> = <y z>;", 3, "cannot be read", "without spaces"),
        (HEAD + "public <x> = a;\n/* never closed", 4, "cannot be read", "between /* and */"),
        (HEAD + "public <x> = /2/ a | b;", 3, "some alternatives have a weight", "or none"),
        (HEAD + "public <x> = /0/ a | /0/ b;", 3, "every weight is zero", "above zero"),
        (HEAD + "public <x> = a /2/ b;", 3, "not at the start", '"|"'),
        (HEAD + "public <x> = *;", 3, '"*" is not expected', "<name> = words"),
        (HEAD + "public x = a;", 3, '"x" is not expected', "<name> = words"),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_line_and_a_remedy(
    text: str, line: int | None, what: str, remedy: str
) -> None:
    """Each mistake names the file and line, says what it is and what to write."""
    with pytest.raises(GrammarError) as caught:
        read_jsgf(text, "bay.jsgf")
    assert caught.value.where == (f"bay.jsgf:{line}" if line else "bay.jsgf")
    assert what in caught.value.what
    assert remedy in caught.value.remedy


def test_brackets_without_end_are_refused_in_words() -> None:
    """Nesting beyond all use is a worded error too."""
    with pytest.raises(GrammarError, match="nested too deeply") as caught:
        read_jsgf(f"{HEAD}public <x> = {'(' * 5000}a{')' * 5000};", "bay.jsgf")
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("data", "where", "what"),
    [
        (None, "", "cannot be opened"),
        (b"#JSGF V1.0 NONSENSE-9;\ngrammar g;\npublic <x> = a;\n", ":1", '"NONSENSE-9" is not known'),
        (b"#JSGF V1.0 UTF-8;\ngrammar g;\npublic <x> = fen\xeatre;\n", ":3", "not written in UTF-8"),
    ],
)
def test_a_file_that_cannot_be_decoded_is_refused(
    tmp_path: Path, data: bytes | None, where: str, what: str
) -> None:
    """A missing file, an unknown encoding and bytes that are not in the encoding."""
    path = tmp_path / "g.jsgf"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(GrammarError) as caught:
        load_jsgf(path)
    assert caught.value.where == f"{path}{where}"
    assert what in caught.value.what
    assert caught.value.remedy


# Writing


def test_a_written_grammar_looks_like_this() -> None:
    """The text written for a small grammar, with quoting, tags and weights."""
    grammar = Grammar(
        name="bay",
        rules={
            "report": Sequence((Rule("side"), Words(("lift", "cylinder")), Maybe(Rule("state")))),
            "side": Choice((Tag("side", "left", Words(("left",))), Tag("side", "right", Words(("right",))))),
            "state": Choice((Words(("dry",)), Repeat(Words(("drip",)))), (3.0, 0.5)),
            "odd": Sequence((Words(("<oil>", "a/b", '"', "//")), Tag("mark", "{}", Words(("x", "y"))))),
        },
        public=("report", "odd"),
    )
    assert write_jsgf(grammar) == (
        "#JSGF V1.0 UTF-8;\n"
        "\n"
        "grammar bay;\n"
        "\n"
        "public <report> = <side> lift cylinder [<state>];\n"
        "<side> = (left) {side=left} | (right) {side=right};\n"
        "<state> = /3/ dry | /0.5/ (drip)+;\n"
        'public <odd> = "<oil>" a/b "\\"" "//" (x y) {mark=\\{\\}};\n'
    )


def test_a_tag_without_a_value_is_written_as_its_name() -> None:
    """JSGF has no tag that stands for its words, so only the name can be kept."""
    grammar = Grammar("g", {"x": Tag("size", None, Words(("small",)))}, ("x",))
    text = write_jsgf(grammar)
    assert "(small) {size};" in text
    assert read_jsgf(text).rules["x"] == Tag("tag", "size", Words(("small",)))


@pytest.mark.parametrize(
    ("grammar", "what"),
    [
        (Grammar("two words", {"x": Null()}, ("x",)), "name of a JSGF grammar"),
        (Grammar("g", {"x": Null()}, ()), "no rule is public"),
        (Grammar("g", {"x": Null()}, ("y",)), "<y> is not defined"),
        (Grammar("g", {"x y": Null()}, ("x y",)), "name of a JSGF rule"),
        (Grammar("g", {"NULL": Null()}, ("NULL",)), "name of a JSGF rule"),
        (Grammar("g", {"x": Tag("a=b", "c", Null())}, ("x",)), "name of a tag"),
        (Grammar("g", {"x": Words(("",))}, ("x",)), "empty"),
        (Grammar("g", {"x": Choice((Null(), Void()), (1.0,))}, ("x",)), "weights"),
        (Grammar("g", {"x": Choice((Null(), Void()), (1.0, -1.0))}, ("x",)), "weights"),
        (Grammar("g", {"x": Choice((Null(), Void()), (1.0, float("inf")))}, ("x",)), "weights"),
        (Grammar("g", {"x": Choice((Null(), Void()), (0.0, 0.0))}, ("x",)), "weights"),
    ],
)
def test_what_jsgf_cannot_hold_is_not_written(grammar: Grammar, what: str) -> None:
    """A grammar that could not be read back is refused instead of written."""
    with pytest.raises(GrammarError) as caught:
        write_jsgf(grammar)
    assert what in caught.value.what
    assert caught.value.remedy


# There and back

WORDS = [
    "dry",
    "i'd",
    "twenty-one",
    "größe",
    "왼쪽",
    "a/b",
    "<oil>",
    '"',
    "//",
    "/2/",
    "*",
    "{x}",
    ";",
    "\\",
    "null",
]

TAG_VALUES = ["left", "", "a=b", "{}", "\\", "}", " spaced ", "// x", "line\nend"]


def _wider(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    def weighted(items: list[Expression]) -> st.SearchStrategy[Expression]:
        weight = st.floats(min_value=2.0**-20, max_value=1e6)
        weights = st.lists(weight, min_size=len(items), max_size=len(items)).map(tuple)
        return st.builds(Choice, st.just(tuple(items)), weights)

    several = st.lists(inner, min_size=0, max_size=3)
    return st.one_of(
        several.map(lambda items: Sequence(tuple(items))),
        several.map(lambda items: Choice(tuple(items))),
        st.lists(inner, min_size=1, max_size=3).flatmap(weighted),
        inner.map(Maybe),
        st.builds(Repeat, inner, st.sampled_from([0, 1])),
        st.builds(Tag, st.sampled_from(["tag", "side", "x.y"]), st.sampled_from(TAG_VALUES), inner),
    )


EXPRESSIONS: st.SearchStrategy[Expression] = st.recursive(
    st.one_of(
        st.lists(st.sampled_from(WORDS), min_size=0, max_size=2).map(lambda said: Words(tuple(said))),
        st.sampled_from([Null(), Void(), Rule("other")]),
    ),
    _wider,
    max_leaves=8,
)

MOST = 5


@settings(max_examples=300, deadline=None)
@given(EXPRESSIONS)
def test_any_expression_written_and_read_has_the_same_sentences_and_tags(expression: Expression) -> None:
    """Writing then reading changes no sentence and no tag, up to five symbols long."""
    grammar = Grammar("g", {"x": expression, "other": Words(("dry", "cell"))}, ("x",), rule_spans=True)
    again = read_jsgf(write_jsgf(grammar))
    assert phrases_of(again, MOST) == phrases_of(grammar, MOST)
    assert again.public == grammar.public


@settings(max_examples=100, deadline=None)
@given(EXPRESSIONS)
def test_what_was_read_is_written_and_read_unchanged(expression: Expression) -> None:
    """After one reading the grammar is in its plain form: a second round changes nothing at all."""
    grammar = Grammar("g", {"x": expression, "other": Words(("dry", "cell"))}, ("x",), rule_spans=True)
    once = read_jsgf(write_jsgf(grammar))
    assert read_jsgf(write_jsgf(once)) == once


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet='<>ab=|;()[]{}*+"/ \n.1\\', max_size=40))
def test_no_text_gets_past_with_anything_but_a_grammar_or_a_worded_error(body: str) -> None:
    """Whatever stands after the header gives a grammar, or an error with a place and a remedy."""
    try:
        grammar = read_jsgf(HEAD + "public <x> = a;\n" + body, "bay.jsgf")
    except GrammarError as problem:
        assert problem.where.startswith("bay.jsgf")
        assert problem.remedy
    else:
        assert "x" in grammar.public


@pytest.mark.skipif(not ORDERS.exists(), reason="the recorded drink orders and their grammar are not here")
def test_the_grammar_of_recorded_orders_is_read_whole() -> None:
    """Its size is the product worked out by hand from the file, and writing keeps it exactly."""
    grammar = load_jsgf(ORDERS)
    # size, roast, shots: one of them 7 + 3 + 3; two in either order; all three in six orders.
    modifiers = (7 + 3 + 3) + 2 * (7 * 3 + 7 * 3 + 3 * 3) + 6 * (7 * 3 * 3)
    milk, sugar = 6 * 6, 6 * 3
    additions = milk * (1 + sugar) + sugar * (1 + milk)
    assert derivations(Rule("order"), grammar.rules) == 9 * 3 * (1 + modifiers) * 10 * (1 + additions)
    assert grammar.public == ("order",)
    assert read_jsgf(write_jsgf(grammar)) == grammar
