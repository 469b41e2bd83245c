"""Which line of a TOML file a value is on.

The standard library's reader gives values without lines; tree-sitter gives a syntax tree with
them. A key path is a tuple such as ``("stop", 1, "point", 2, "side")``, list items counted
from 0; lines are counted from 1.
"""

from __future__ import annotations

import tomllib

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

KeyPath = tuple[str | int, ...]

_LANGUAGE = Language(tree_sitter_toml.language())
_KEYS = ("bare_key", "quoted_key", "dotted_key")


class LineMap:
    """Line numbers by key path for one text that is valid TOML."""

    def __init__(self, text: str) -> None:
        """Index ``text``; what is not valid TOML is skipped."""
        self._lines: dict[KeyPath, int] = {}
        self._lengths: dict[KeyPath, int] = {}
        tree = Parser(_LANGUAGE).parse(text.encode("utf-8"))
        for node in tree.root_node.named_children:
            if node.type == "pair":
                self._pair(node, ())
            elif node.type in ("table", "table_array_element"):
                self._table(node)

    def line(self, path: KeyPath) -> int:
        """Return the line of ``path``, or of the nearest thing around it that was written."""
        for end in range(len(path), 0, -1):
            found = self._lines.get(path[:end])
            if found is not None:
                return found
        return 1

    def _table(self, node: Node) -> None:
        key, *rest = node.named_children
        names = _key_names(key)
        prefix = self._last_elements(names[:-1])
        path: KeyPath = (*prefix, names[-1])
        if node.type == "table_array_element":
            index = self._lengths.get(path, 0)
            self._lengths[path] = index + 1
            self._lines.setdefault(path, _line(key))
            path = (*path, index)
        self._lines.setdefault(path, _line(key))
        for child in rest:
            if child.type == "pair":
                self._pair(child, path)

    def _last_elements(self, names: list[str]) -> KeyPath:
        """Resolve a header's leading names, each list of tables to its latest element."""
        path: KeyPath = ()
        for name in names:
            path = (*path, name)
            if path in self._lengths:
                path = (*path, self._lengths[path] - 1)
        return path

    def _pair(self, node: Node, prefix: KeyPath) -> None:
        key, value = (child for child in node.named_children if child.type != "comment")
        path = prefix
        for name in _key_names(key):
            path = (*path, name)
            self._lines.setdefault(path, _line(key))
        self._value(value, path)

    def _value(self, node: Node, path: KeyPath) -> None:
        if node.type == "inline_table":
            for child in node.named_children:
                if child.type == "pair":
                    self._pair(child, path)
        elif node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, item in enumerate(items):
                self._lines[(*path, index)] = _line(item)
                self._value(item, (*path, index))


def _line(node: Node) -> int:
    return node.start_point[0] + 1


def _key_names(node: Node) -> list[str]:
    if node.type == "dotted_key":
        return [name for child in node.named_children if child.type in _KEYS for name in _key_names(child)]
    text = (node.text or b"").decode("utf-8")
    if node.type == "quoted_key":
        return list(tomllib.loads(f"{text} = 0"))
    return [text]
