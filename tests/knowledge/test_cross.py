"""Cross-references: every id used exists, and a rule asks only what a check can say.

All faults of the causes, checks, circuits and rules are planted in one directory and loaded once.
"""

from collections.abc import Callable

import pytest

from engine.knowledge import Fault

RULE = """id: {stem}
family: {family}
title: A rule with a slip
when:
  - {when}
then:
  - {then}
because:
  found: Something was found.
  points: It points somewhere.
  next: Do something.
source: judgement
"""
HEARD = "{check: relay-click, outcome: heard}"
# stem, family, when, then, path of the fault behind the file, message
RULES = [
    ("outcome", "traps", "{check: relay-click, outcome: clicks}", "{note: true}",
     "when.relay-click", "unknown outcome 'clicks'"),
    ("reading", "traps", "{check: pull-current, outcome: low}", "{note: true}",
     "when.pull-current", "is a reading: it has no outcomes"),
    ("number", "traps", "{check: relay-click, above: 5}", "{note: true}",
     "when.relay-click", "is not a reading: it has outcomes"),
    ("verdict", "traps", "{check: relay-click, reads: good}", "{note: true}",
     "when.relay-click", "is not a reading: it has outcomes"),
    ("no-verdict", "traps", "{check: pull-current, reads: bad}", "{note: true}",
     "when[0].reads", "unknown verdict 'bad'"),
    ("circumstance", "traps", "{check: relay-click, with: {circumstances: warm}}", "{note: true}",
     "when.with", "unknown circumstance 'warm'"),
    ("attribute", "traps", "{check: pull-current, with: {metre: given}}", "{note: true}",
     "when[0].with.metre", "unknown attribute 'metre' (did you mean 'meter'?)"),
    ("attribute-list", "traps", "{check: pull-current, with: {celsius: [5]}}", "{note: true}",
     "when[0].with.celsius", "must be a word or a number"),
    ("attribute-number", "traps", "{check: pull-current, with: {celsius: above hot}}",
     "{note: true}", "when[0].with.celsius", "'above hot' does not end in a number"),
    ("given", "traps", "{check: relay-click, given: no}", "{note: true}",
     "when[0].given", "must be true or false"),
    ("outcome-list", "traps", "{check: relay-click, outcome: [heard]}", "{note: true}",
     "when[0].outcome", "must be a word or a number"),
    ("check-key", "traps", "{check: relay-click, is: heard}", "{note: true}",
     "when[0].is", "is not a field here; known here: checks, "),
    ("form", "traps", "{cheque: relay-click}", "{note: true}", "when[0]",
     "is none of the forms of a condition: machine, check, checks, concluded, not_concluded, "
     "cause, step, any, all, none"),
    ("machine-field", "traps", "{machine: coils, is: body-ground}", "{note: true}",
     "when[0].machine", "unknown machine field 'coils' (did you mean 'coil'?)"),
    ("machine-list", "traps", "{machine: [coil], is: body-ground}", "{note: true}",
     "when[0].machine", "unknown machine field '['coil']' (did you mean 'coil'?)"),
    ("machine-bare", "traps", "{machine: coil}", "{note: true}",
     "when[0]", "needs one of is, in, above, below"),
    ("nested", "traps", "{any: [{all: [{check: no-such}]}]}", "{note: true}",
     "when", "unknown check 'no-such'"),
    ("conclusion", "traps", "{concluded: nobody-said-so}", "{note: true}",
     "when", "unknown conclusion 'nobody-said-so'"),
    ("belief-early", "traps", "{cause: fuse-open, at_least: 0.1}", "{note: true}",
     "when[0]", "beliefs are not known yet when traps rules run"),
    ("belief-cause", "chains", "{cause: fuse-opn, at_least: 0.1}", "{note: true}",
     "when", "unknown cause 'fuse-opn' (did you mean 'fuse-open'?)"),
    ("belief-level", "chains", "{cause: fuse-open, at_least: 5}", "{note: true}",
     "when[0].at_least", "must be a probability between 0 and 1"),
    ("step", "chains", "{step: live}", "{note: true}",
     "when[0]", "only cautions are about a step"),
    ("hazard", "cautions", "{step: alive}", "{caution: true}",
     "when[0].step", "unknown hazard 'alive' (did you mean 'live'?)"),
    ("action", "traps", HEARD, "{putaside: relay-click}", "then[0]",
     "is none of the actions: "),
    ("action-family", "chains", HEARD, "{set_aside: relay-click}", "then[0].set_aside",
     "is for traps, not for chains"),
    ("action-check", "traps", HEARD, "{set_aside: relay-clik}", "then.set_aside",
     "unknown check 'relay-clik' (did you mean 'relay-click'?)"),
    ("action-two", "traps", HEARD, "{note: true, keep: 0.5}", "then[0].keep",
     "unknown key 'keep'"),
    ("note", "traps", HEARD, "{note: yes}", "then[0].note", "must be true"),
    ("keep", "traps", HEARD, "{weaken: relay-click, keep: 2}", "then[0].keep",
     "must be a share between 0 and 1"),
    ("shift-cause", "context", "{machine: coil, is: body-ground}", "{shift: {fuse-opn: 2}}",
     "then.shift", "unknown cause 'fuse-opn' (did you mean 'fuse-open'?)"),
    ("shift-factor", "context", "{machine: coil, is: body-ground}", "{shift: {fuse-open: 100}}",
     "then[0].shift.fuse-open", "must be a factor from 0.05 to 20"),
    ("shift-twice", "context", "{check: fuse-look, outcome: blown}", "{shift: {fuse-open: 2}}",
     "then.shift.fuse-open", "counts twice: 'fuse-look' already weighs this cause"),
    ("clears", "proofs", HEARD, "{clears: [relay-coil-opn]}", "then.clears",
     "unknown cause 'relay-coil-opn' (did you mean 'relay-coil-open'?)"),
    ("roots", "chains", HEARD, "{look_behind: fuse-open, roots: [x-y]}", "then.look_behind",
     "unknown cause 'x-y'"),
    ("before", "chains", HEARD,
     "{look_behind: fuse-open, roots: [fuse-open], before_replacing: 5}",
     "then[0].before_replacing", "must be a name or a list of names"),
]  # fmt: skip


def files(text_of: Callable[[str], str]) -> dict[str, str]:
    """Return the planted files."""
    ground, click = text_of("causes/ground-resistive.yaml"), text_of("checks/relay-click.yaml")
    volts, current = text_of("checks/ground-side-voltage.yaml"), text_of("checks/pull-current.yaml")
    circuit = text_of("circuits/fuel-shutoff-ignition-timed.yaml")
    chops = text_of("circuits/fuel-shutoff-controller-on-crank.yaml")
    planted = {
        f"rules/{family}/bad-{stem}.yaml": RULE.format(
            stem=f"bad-{stem}", family=family, when=when, then=then
        )
        for stem, family, when, then, _, _ in RULES
    }
    return planted | {
        "rules/traps/bad-folder.yaml": RULE.format(
            stem="bad-folder", family="chains", when=HEARD, then="{note: true}"
        ),
        "causes/ground-resistive.yaml": ground.replace("part: ground", "part: grund"),
        "causes/ground-open.yaml": text_of("causes/ground-open.yaml").replace(
            "confirmed_by: [", "confirmed_by: [ground-side-volts, "
        ),
        "causes/fuse-open.yaml": text_of("causes/fuse-open.yaml").replace(
            "applies: {}", "applies: {duty: [brake-release], control: [controller-on-crank]}"
        ),
        "checks/relay-click.yaml": click.replace("relay-contacts-welded:", "relay-welded:")
        .replace("else: {heard: 0.08, not-heard: 0.92}", "else: {heard: 0.08, unheard: 0.92}")
        .replace("  not-heard: \"The", "  silent: \"The"),
        "checks/ground-side-voltage.yaml": volts.replace("to: battery-negative", "to: frame")
        .replace("instrument: voltmeter", "instrument: voltmetre")
        .replace("{ground_point}", "{ground_pin}"),
        "checks/pull-current.yaml": current.replace("part: pull-wire", "part: pull-wires")
        .replace("say: >-\n", "say: >-\n  Braces {when do not pair.\n"),
        "circuits/fuel-shutoff-ignition-timed.yaml": circuit.replace(
            "between: [ignition-feed, timer-output]", "between: [ignition-feed, timer-out]"
        ).replace("made: [ignition-switch, timer, machine-loads]",
                  "made: [ignition-switch, timr, machine-loads]"),
        "circuits/fuel-shutoff-controller-on-crank.yaml": chops.replace(
            "part: hold-driver\n", "part: hold-drivr\n"
        ).replace("shown_by: [hold-pin-voltage,", "shown_by: [hold-pin-volts,")
        .replace("between: [relay-85, pull-output]", "between: [relay-85, pull-outputs]")
        .replace("shown_by: [pull-output-voltage,", "shown_by: [pull-output-volts,"),
    }  # fmt: skip


OTHERS = [
    ("rules/traps/bad-folder.yaml: family", "must be the name of the folder"),
    ("causes/ground-resistive.yaml: states[0].changes[0]",
     "unknown part 'grund' (did you mean 'ground'?)"),
    ("causes/ground-open.yaml: confirmed_by",
     "unknown check 'ground-side-volts' (did you mean 'ground-side-voltage'?)"),
    ("causes/fuse-open.yaml: applies", "holds for no circuit"),
    ("checks/relay-click.yaml: predicted_by.given",
     "unknown cause 'relay-welded' (did you mean 'relay-contacts-welded'?)"),
    ("checks/relay-click.yaml: predicted_by",
     "unknown outcome 'unheard' (did you mean 'heard'?)"),
    ("checks/relay-click.yaml: outcome_words", "unknown outcome 'silent'"),
    ("checks/relay-click.yaml: outcome_words", "lacks words for 'not-heard'"),
    ("checks/ground-side-voltage.yaml: predicted_by", "unknown node 'frame'"),
    ("checks/ground-side-voltage.yaml: instrument",
     "unknown instrument 'voltmetre' (did you mean 'voltmeter'?)"),
    ("checks/ground-side-voltage.yaml: how",
     "unknown placeholder 'ground_pin' (did you mean 'ground_point'?)"),
    ("checks/pull-current.yaml: predicted_by.part",
     "unknown part 'pull-wires' (did you mean 'pull-wire'?)"),
    ("checks/pull-current.yaml: say", "braces do not pair up: "),
    ("circuits/fuel-shutoff-ignition-timed.yaml: parts.timer",
     "unknown node 'timer-out' (did you mean 'timer-output'?)"),
    ("circuits/fuel-shutoff-ignition-timed.yaml: phases.on-command.made",
     "unknown switched part 'timr' (did you mean 'timer'?)"),
    ("circuits/fuel-shutoff-controller-on-crank.yaml: chopping.part",
     "unknown switched part 'hold-drivr' (did you mean 'hold-driver'?)"),
    ("circuits/fuel-shutoff-controller-on-crank.yaml: chopping.shown_by",
     "unknown check 'hold-pin-volts' (did you mean 'hold-pin-voltage'?)"),
    ("circuits/fuel-shutoff-controller-on-crank.yaml: switched_low.parts.relay-command-wire",
     "unknown node 'pull-outputs' (did you mean 'pull-output'?)"),
    ("circuits/fuel-shutoff-controller-on-crank.yaml: switched_low.shown_by",
     "unknown check 'pull-output-volts' (did you mean 'pull-output-voltage'?)"),
]  # fmt: skip
EXPECTED = [
    (f"rules/{family}/bad-{stem}.yaml: {path}", message)
    for stem, family, _, _, path, message in RULES
] + OTHERS


@pytest.fixture(scope="module")
def found(shipped_text: Callable[[str], str], faults_of: Callable[..., list[Fault]]) -> list[Fault]:
    """Give the faults of all planted files, loaded at once."""
    return faults_of(files(shipped_text))


@pytest.mark.parametrize(("path", "message"), EXPECTED, ids=[path for path, _ in EXPECTED])
def test_planted_fault_is_reported(path: str, message: str, found: list[Fault]) -> None:
    """The slip is reported under its file and field, with the nearest right word."""
    here = [fault.message for fault in found if fault.path == f"shop/{path}"]
    assert any(text.startswith(message) for text in here), here


def test_nothing_else_is_reported(found: list[Fault]) -> None:
    """No file is blamed that has no slip."""
    planted = {f"shop/{path.split(':')[0]}" for path, _ in EXPECTED}
    assert {fault.path.split(":")[0] for fault in found} == planted


# table, a line of it, what stands there instead, path of the fault, its message
TABLE_SLIPS = [
    ("instruments", "    percent: 0.5\n", "", "rows[0].percent",
     "must be a number, not negative"),
    ("instruments", "id: voltmeter", "name: voltmeter", "rows[0].id", "must be text"),
    ("instruments", "counts: 2", "counts: two", "rows[0].counts",
     "must be a number, not negative"),
    ("effort", "minutes: 3", "minutes: -3", "rows[0].minutes",
     "must be a number, not negative"),
    ("come-and-go", "share: 0.97", "share: 1.2", "rows[0].share",
     "must be a number, not negative, not above 1"),
    ("come-and-go", "share: 0.97", "share: .nan", "rows[0].share",
     "must be a number, not negative, not above 1"),
    ("come-and-go", "id: found", "id: find", "rows", "lacks 'found': the engine reads it"),
]  # fmt: skip


@pytest.mark.parametrize("slip", TABLE_SLIPS, ids=lambda slip: f"{slip[0]}:{slip[3]}")
def test_tables_that_the_engine_reads(
    slip: tuple[str, str, str, str, str],
    shipped_text: Callable[[str], str],
    faults_of: Callable[..., list[Fault]],
) -> None:
    """A meter without its accuracy, or a row without an id, is refused at load, not at use."""
    table, old, new, path, message = slip
    text = shipped_text(f"tables/{table}.yaml").replace(old, new, 1)
    faults = faults_of({f"tables/{table}.yaml": text})
    assert faults == [Fault(f"shop/tables/{table}.yaml: {path}", message)]


def test_a_contact_without_a_coil_is_refused(
    shipped_text: Callable[[str], str], faults_of: Callable[..., list[Fault]]
) -> None:
    """A relay contact names two nodes between which its coil lies."""
    text = shipped_text("circuits/three-wire.yaml").replace(
        "operated_by: [relay-86, relay-85]", "operated_by: [relay-86, chassis]"
    )
    messages = {fault.message for fault in faults_of({"circuits/three-wire.yaml": text})}
    assert messages == {"no part lies between these nodes: the contact has no coil"}


WORDS = """id: slips
title: Phrases with slips
source: judgement
meanings:
  - findings: [{check: relay-klick, outcome: heard}]
    causes: [ground-resistif]
    caution: smoking-coils
    phrases:
      - squawks like a goose
  - findings: [{check: relay-click, outcome: herd}, {check: pull-current, outcome: low}]
    checks: [relay-swop]
    phrases:
      - honks at idle
      - honks while idling
"""
WORDS_SLIPS = [
    ("meanings[0].findings[0].check",
     "unknown check 'relay-klick' (did you mean 'relay-click'?)"),
    ("meanings[0].causes",
     "unknown cause 'ground-resistif' (did you mean 'ground-resistive'?)"),
    ("meanings[0].caution", "unknown caution 'smoking-coils' (did you mean 'smoking-coil'?)"),
    ("meanings[1].findings[0].outcome", "unknown outcome 'herd' (did you mean 'heard'?)"),
    ("meanings[1].findings[1]", "is a reading: it has no outcomes"),
    ("meanings[1].checks", "unknown check 'relay-swop' (did you mean 'relay-swap'?)"),
    ("meanings[1].phrases[1]",
     "'honks while idling' has the words of shop/words/slips.yaml: meanings[1].phrases[0]"),
]  # fmt: skip


def test_words_that_point_to_nothing(faults_of: Callable[..., list[Fault]]) -> None:
    """A phrase's ids, and a phrase that stands twice, are reported by file, meaning and line."""
    file = "shop/words/slips.yaml"
    expected = [Fault(f"{file}: {path}", message) for path, message in WORDS_SLIPS]
    found = faults_of({"words/slips.yaml": WORDS})
    assert found == sorted(expected)
    assert {one.file for one in found} == {file}


def test_a_phrase_without_a_word_is_refused(faults_of: Callable[..., list[Fault]]) -> None:
    """A phrase that every text would meet is refused with its line."""
    text = WORDS.replace("squawks like a goose", "it is").replace("honks at idle", "a/honks loud")
    text = text.replace("    checks: [relay-swop]\n", "").replace("honks while idling", "''")
    found = {one.path: one.message for one in faults_of({"words/slips.yaml": text})}
    assert found == {
        "shop/words/slips.yaml: meanings[0].phrases[0]": "'it is' has no word to go by",
        "shop/words/slips.yaml: meanings[1].phrases[0]":
            "'a/honks': each word beside a / is one word that says something",
        "shop/words/slips.yaml: meanings[1].phrases[1]": "'' has no word to go by",
    }  # fmt: skip
