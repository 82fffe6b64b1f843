"""The one door to experta, which needs help on Python 3.10 and later.

experta pins frozendict 1.2, which names ``collections.Mapping`` (gone since 3.10): the name is put
back for the length of this import only. experta's package swallows ImportError, so its presence is
asserted; and it calls ``logging.basicConfig``, whose root handler is taken away again.
"""

import collections
import collections.abc
import inspect
import logging

_before = list(logging.root.handlers)
_had = hasattr(collections, "Mapping")
if not _had:
    collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
try:
    import experta
    from experta.matchers.rete import ReteMatcher
    from experta.matchers.rete.check import FeatureCheck
    from experta.matchers.rete.mixins import NoMemory
    from experta.matchers.rete.nodes import ConflictSetNode, FeatureTesterNode, OrdinaryMatchNode
    from experta.strategies import DepthStrategy
finally:
    if not _had:
        del collections.Mapping  # type: ignore[attr-defined]
for _handler in list(logging.root.handlers):
    if _handler not in _before:
        logging.root.removeHandler(_handler)

if not hasattr(experta, "KnowledgeEngine"):  # pragma: no cover
    raise ImportError("experta is installed but did not import whole")

from typing import Any  # noqa: E402 - after the guarded import


class _BuiltRule(experta.Rule):  # type: ignore[misc]
    """A rule of a network that is built: its hash, over all that it asks, is known."""

    known: int

    def __hash__(self) -> int:
        return self.known


class _ReportingNode(ConflictSetNode):  # type: ignore[misc]
    """A terminal node that says when it changed, so that nobody has to ask them all."""

    changed: list[Any]

    def activate(self, token: Any) -> None:
        self._activate(token)
        self.changed.append(self)


class _MatchNode(OrdinaryMatchNode):  # type: ignore[misc]
    """A join that takes the token as it came: it changes nothing in it."""

    def activate_left(self, token: Any) -> None:
        self._activate_left(token)

    def activate_right(self, token: Any) -> None:
        self._activate_right(token)


class _TestingNode(FeatureTesterNode):  # type: ignore[misc]
    """A test of one field that binds no name: the token passes on as it came, not as a copy.

    ``literal`` are the children that ask a field for one value: they are looked up, not asked.
    """

    children: list[Any]
    literal: dict[str, dict[Any, list[Any]]]

    def activate(self, token: Any) -> None:
        (fact,) = token.data
        if self.matcher(fact):
            for child in self.children:
                child.callback(token)
            for field, by_value in self.literal.items():
                for child in by_value.get(fact.get(field), ()):
                    child.callback(token)

    def look_up(self) -> None:
        """Set the children that ask for one value apart from those that have to be asked."""
        self.literal, asked = {}, []
        for child in self.children:
            check = getattr(child.node, "check", None)
            if isinstance(check, FeatureCheck) and isinstance(check.expected, experta.L):
                by_value = self.literal.setdefault(check.what, {})
                by_value.setdefault(check.expected.value, []).append(child)
            else:
                asked.append(child)
        self.children = asked


def _straight(check: Any) -> Any:
    """Return a check of a field without the stock one's reading of names and its two logs."""
    if not isinstance(check, FeatureCheck):
        return check
    field, holds, expected = check.what, check.check, check.expected
    if isinstance(expected, experta.P) and expected.__bind__ is None:
        match = expected.match
        return lambda fact: field in fact and match(fact[field])
    return lambda fact: field in fact and holds(fact[field], expected)


class QuickMatcher(ReteMatcher):  # type: ignore[misc]
    """experta's matcher without its two walks over the whole network for each fact declared.

    The stock one polls every terminal node after each declare, resets a node once for each path
    that leads to it, and copies the token for each test. Which rules fire is the same (a test runs
    both).
    """

    def build_network(self) -> None:
        """Build the network as usual; then list its nodes and let the terminal ones report."""
        super().build_network()
        self._changed: list[Any] = []
        nodes: dict[int, Any] = {}
        stack = [self.root_node]
        while stack:
            node = stack.pop()
            if id(node) not in nodes:
                nodes[id(node)] = node
                stack += [child.node for child in node.children]
        self._touched: dict[Any, None] = {}  # terminal nodes that changed since the reset
        self._with_memory = [
            one for one in nodes.values() if not isinstance(one, (NoMemory, ConflictSetNode))
        ]
        for node in nodes.values():
            if isinstance(node, ConflictSetNode):
                node.__class__ = _ReportingNode
                node.changed = self._changed
                node.rule.known = hash(node.rule)
                node.rule.__class__ = _BuiltRule
            elif isinstance(node, FeatureTesterNode):
                node.__class__ = _TestingNode
                node.check, node.matcher = node.matcher, _straight(node.matcher)
            elif isinstance(node, OrdinaryMatchNode):
                node.__class__ = _MatchNode
        for node in nodes.values():  # they keep methods of what their children were
            node.children = [
                one._replace(callback=getattr(one.node, one.callback.__name__))
                for one in node.children
            ]
        for node in nodes.values():
            if isinstance(node, _TestingNode):
                node.look_up()

    def changes(self, adding: Any = None, deleting: Any = None) -> tuple[list[Any], list[Any]]:
        """Pass facts in and out of the network; return activations gained and lost."""
        for fact in deleting or ():
            self.root_node.remove(fact)
        for fact in adding or ():
            self.root_node.add(fact)
        added: list[Any] = []
        removed: list[Any] = []
        changed = dict.fromkeys(self._changed)
        self._touched.update(changed)
        for node in changed:
            gained, lost = node.get_activations()
            added.extend(gained)
            removed.extend(lost)
        self._changed.clear()
        return added, removed

    def reset(self) -> None:
        """Wipe the memory of every node that has any, once."""
        self._touched.update(dict.fromkeys(self._changed))
        for node in (*self._with_memory, *self._touched):
            node._reset()
        for node in self._touched:
            node.get_activations()
        self._touched.clear()
        self._changed.clear()


class _PlainStrategy(DepthStrategy):  # type: ignore[misc]
    """experta's strategy without its cache of keys, which compares facts of cases long gone."""

    def get_key(self, activation: Any) -> Any:
        return DepthStrategy.get_key.__wrapped__(self, activation)


class QuickEngine(experta.KnowledgeEngine):  # type: ignore[misc]
    """A knowledge engine with the quick matcher, which looks up its initial facts only once."""

    __matcher__ = QuickMatcher
    __strategy__ = _PlainStrategy

    def get_deffacts(self) -> list[Any]:
        """Return the initial facts; the stock method searches all members at every reset."""
        if not hasattr(self, "_deffacts"):
            self._deffacts: list[Any] = super().get_deffacts()
            for one in self._deffacts:  # asked at every reset, and worked out each time
                one.__signature__ = inspect.signature(one)
        return self._deffacts


__all__ = ["QuickEngine", "QuickMatcher", "experta"]
