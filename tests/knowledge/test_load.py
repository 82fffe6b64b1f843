"""The loader: shipped files in order, a shop's directories over them, every fault at once."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from engine.knowledge import Fault, Knowledge, KnowledgeError, items, load_knowledge
from engine.knowledge.files import FOLDERS, read_sources
from engine.knowledge.shapes import schema_of
from engine.knowledge.text import load_yaml

Text = Callable[[str], str]
Overlay = Callable[[Mapping[str, str]], Path]
SOURCES, _, _ = read_sources()
RULE = """id: {stem}
family: context
title: A rule of the shop
when:
  - {{check: relay-click, outcome: heard}}
then:
  - {{note: true}}
because:
  found: The relay clicks.
  points: Its coil works.
  next: Look further down.
source: judgement
"""


@pytest.fixture
def base(knowledge: Knowledge) -> Knowledge:
    """Give the shipped base."""
    return knowledge


def test_shipped_file_has_its_stem_as_id_and_its_keys_in_order() -> None:
    """Each file's id is its stem, and its keys stand in the one order that its kind has."""
    kinds = items.KINDS_OF_FILE
    known = {name: list(schema_of(kinds[name.split("/")[0]])().fields) for name in FOLDERS}
    for source in SOURCES:
        content = load_yaml(source.text, source.name)
        assert content["id"] == source.stem, source.name
        assert list(content) == [key for key in known[source.folder] if key in content], source.name


def test_no_shipped_file_is_passed_over(base: Knowledge) -> None:
    """Every YAML file under kb/ is loaded, none lies in a folder that nobody reads."""
    files = list((Path(__file__).parents[2] / "kb").rglob("*.y*ml"))
    assert len(files) == len(SOURCES)
    loaded = [base.causes, base.checks, base.circuits, base.rules, base.tables, base.words]
    assert sum(len(kind) for kind in loaded) == len(files) - 1  # less the circuits' common base


def test_a_shop_adds_an_item(base: Knowledge, overlay: Overlay) -> None:
    """A file with a new stem is one more item, and the version says that a shop had its say."""
    shop = load_knowledge(
        [overlay({"rules/context/shop-rule.yaml": RULE.format(stem="shop-rule")})]
    )
    assert set(shop.rules) - set(base.rules) == {"shop-rule"}
    assert shop.rules["shop-rule"].file == "shop/rules/context/shop-rule.yaml"
    assert shop.version.startswith("2026.11+shop-")
    assert "+shop" not in base.version
    assert shop.version[-12:] != base.version[-12:]


def test_a_shop_replaces_an_item(base: Knowledge, overlay: Overlay, shipped_text: Text) -> None:
    """A file with the stem of a shipped one stands in its place; the rest stays."""
    text = shipped_text("causes/ground-resistive.yaml").replace("share: 8", "share: 16")
    shop = load_knowledge([overlay({"causes/ground-resistive.yaml": text})])
    assert shop.causes["ground-resistive"].share == 2 * base.causes["ground-resistive"].share
    assert list(shop.causes) == list(base.causes)


def test_a_later_directory_wins(overlay: Overlay, shipped_text: Text) -> None:
    """Of two directories with the same file the one named last is in force."""
    text = shipped_text("causes/ground-resistive.yaml")
    first = overlay({"causes/ground-resistive.yaml": text.replace("share: 8", "share: 16")})
    last = overlay({"causes/ground-resistive.yaml": text.replace("share: 8", "share: 4")})
    assert load_knowledge([first, last]).causes["ground-resistive"].share == 4
    assert load_knowledge([last, first]).causes["ground-resistive"].share == 16


def test_a_rule_may_move_to_another_family(overlay: Overlay, base: Knowledge) -> None:
    """A shop's rule with a shipped rule's id replaces it, whichever family folder it is in."""
    stem = "slow-crank-on-a-crank-type"
    text = RULE.format(stem=stem).replace("family: context", "family: traps")
    text = text.replace("{note: true}", "{conclude: supply-sags-at-crank}")
    shop = load_knowledge([overlay({f"rules/traps/{stem}.yaml": text})])
    assert base.rules[stem].family == "context"
    assert shop.rules[stem].family == "traps"


def test_a_shop_switches_an_item_off(base: Knowledge, overlay: Overlay) -> None:
    """What ``switched-off.yaml`` lists by kind and id is gone, and the version tells."""
    shop = load_knowledge([overlay({"switched-off.yaml": "rules: [behind-stuck-timer]"})])
    assert set(base.rules) - set(shop.rules) == {"behind-stuck-timer"}
    assert shop.version[-12:] != base.version[-12:]


@pytest.mark.parametrize(
    ("text", "path", "message"),
    [
        ("rules: [behind-stuck-timr]", "shop/switched-off.yaml: rules",
         "unknown id 'behind-stuck-timr' (did you mean 'behind-stuck-timer'?)"),
        ("tables: [instruments]", "shop/switched-off.yaml: tables",
         "is not a field here; known here: causes, checks, rules"),
        ("rules: behind-stuck-timer", "shop/switched-off.yaml: rules",
         "must be a list"),
        ("- behind-stuck-timer", "shop/switched-off.yaml",
         "must be a mapping of names to values"),
        ("causes: [healthy]", "kb/causes/healthy.yaml", "is missing: every answer weighs it"),
    ],
)  # fmt: skip
def test_a_wrong_switch_is_refused(
    text: str, path: str, message: str, faults_of: Callable[..., list[Fault]]
) -> None:
    """An id that is not there, a kind that cannot go, or a cause that all answers need."""
    assert Fault(path, message) in faults_of({"switched-off.yaml": text})


def test_what_is_switched_off_may_still_be_spoken_of(overlay: Overlay) -> None:
    """A shop switches a check and a cause off without rewriting every rule that names them."""
    off = "checks: [relay-click]\ncauses: [wrong-voltage-part]\n"
    knowledge = load_knowledge([overlay({"switched-off.yaml": off})])
    assert "relay-click" not in knowledge.checks
    assert "wrong-voltage-part" not in knowledge.causes


def test_only_what_is_switched_off_is_excused(faults_of: Callable[..., list[Fault]]) -> None:
    """With one check off, an id that exists nowhere is still a fault."""
    rule = RULE.format(stem="mine").replace("relay-click", "relay-clik")
    files = {"switched-off.yaml": "checks: [relay-click]", "rules/context/mine.yaml": rule}
    assert [fault.path for fault in faults_of(files)] == ["shop/rules/context/mine.yaml: when"]


def test_an_unknown_folder_is_named_with_the_nearest(overlay: Overlay, tmp_path: Path) -> None:
    """A folder that the base does not have is a slip of the pen; hidden ones do not count."""
    shop = overlay({"cause/x.yaml": "id: x", ".git/x.yaml": "id: x", "__pycache__/x": ""})
    with pytest.raises(KnowledgeError) as caught:
        load_knowledge([shop])
    assert caught.value.faults == [
        Fault("shop/cause", "unknown folder 'cause' (did you mean 'causes'?)")
    ]


def test_a_directory_that_is_not_one(tmp_path: Path) -> None:
    """A path that does not exist, or a plain file, is refused before anything is read."""
    (tmp_path / "file").write_text("id: x", encoding="utf-8")
    for name in ("nothing", "file"):
        with pytest.raises(KnowledgeError, match="is not a directory of knowledge files"):
            load_knowledge([tmp_path / name])


def test_bytes_that_are_not_text(tmp_path: Path) -> None:
    """A file that is not UTF-8 is a fault of its directory, not a crash."""
    (tmp_path / "causes").mkdir()
    (tmp_path / "causes" / "x.yaml").write_bytes(b"id: \xff\xfe")
    with pytest.raises(KnowledgeError, match="cannot be read"):
        load_knowledge([tmp_path])


def test_the_same_files_give_the_same_version(overlay: Overlay) -> None:
    """The version is made of what is in force, not of when or from where it was loaded."""
    files = {"rules/context/shop-rule.yaml": RULE.format(stem="shop-rule")}
    assert load_knowledge([overlay(files)]).version == load_knowledge([overlay(files)]).version


def test_a_clean_base_has_its_mappings_in_order_of_id(base: Knowledge) -> None:
    """Causes, checks, circuits, rules and tables are each in order of id."""
    for kind in (base.causes, base.checks, base.circuits, base.rules, base.tables):
        assert list(kind) == sorted(kind)
