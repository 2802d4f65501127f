"""A proposal in words: shop.toml and specs.csv with every guess marked."""

from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.starting_values import FAMILIES, STAGES
from ingest.beginning.survey import MEASURE
from ingest.terms.questions import quoted, short

NOTE = "starting value, not yours"
HEAD = """# A first shop file, proposed from the logs. Every line marked `guess` is one: look at it, put it right,
# take the mark away.
# Minutes, plausible ranges and suspects are starting values of the trade (common practice), not yours.
"""


def shop_text(draft: Draft) -> str:
    """The whole of a first shop.toml."""
    parts = [
        HEAD,
        f"[shop]\nname = {quoted(draft.name)}\ntimezone = {quoted(draft.timezone)}  # guess where it is UTC: the "
        "clock on the wall",
    ]
    parts += [stage_lines(key, role, draft) for key, role in draft.stages.items()]
    parts += [measure_lines(key, positions, draft) for key, positions in draft.measures.items()] or [
        measure_lines("relief", [], draft)
    ]
    parts += [model_lines(key, family, draft) for key, family in draft.models.items()]
    parts += [fault_lines(key, suspect) for key, suspect in draft.faults.items()]
    parts += [tech_lines(key, words) for key, words in draft.techs.items()]
    parts += [log_lines(log, draft) for log in draft.logs]
    return "\n\n".join(parts) + "\n"


def specs_text(draft: Draft) -> str:
    """specs.csv with the trade's starting limits for each family and measurement."""
    lines = ["characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note"]
    for family in dict.fromkeys(draft.models.values()):
        if family not in FAMILIES:
            continue
        _, relief, bass, treble, nut_bass, nut_treble, cents = FAMILIES[family]
        limits = {
            ("relief", ""): relief,
            ("action", "bass"): bass,
            ("action", "treble"): treble,
            ("nut", "bass"): nut_bass,
            ("nut", "treble"): nut_treble,
        }
        for (measure, position), (target, low, high) in limits.items():
            positions = draft.measures.get(measure)
            if positions is not None and (position in positions or not position):
                lines.append(f'{measure},{position},{family},,,,{target:g},{low:g},{high:g},mm,,,"{NOTE}"')
        if "intonation" in draft.measures:
            lines.append(f'intonation,,{family},,,,0,{-cents:g},{cents:g},cents,,,"{NOTE}"')
    if "neck_bow" in draft.measures:
        lines.append(f'neck_bow,,,,,,0,-0.1,0.25,mm,,,"{NOTE}"')
    return "\n".join(lines) + "\n"


def _why(draft: Draft, key: str) -> str:
    why = draft.guesses.get(key)
    return f"  # guess: {why}" if why else ""


def stage_lines(key: str, role: str, draft: Draft) -> str:
    """A [[stage]] in words."""
    usual = next((stage for stage in STAGES if stage.key == key), None)
    lines = ["[[stage]]", f"key = {quoted(key)}{_why(draft, f'stage {key}')}"]
    if usual:
        lines.append(f"name = {quoted(usual.name)}")
    lines.append(f"role = {quoted(role)}")
    if usual and usual.minutes:
        lines.append(f"minutes = {usual.minutes:g}  # {NOTE}")
    return "\n".join(lines)


def measure_lines(key: str, positions: list[str], draft: Draft) -> str:
    """A [[characteristic]] in words."""
    item = MEASURE[key]
    lines = [
        "[[characteristic]]",
        f"key = {quoted(key)}",
        f"name = {quoted(item.name)}",
        f"quantity = {quoted(item.quantity)}",
    ]
    if item.set_at in draft.stages:
        lines.append(f"set_at = {quoted(item.set_at)}  # guess: where it is usually set")
    if item.at_pitch and "stringing" in draft.stages:
        lines.append('at_pitch_from = "stringing"')
    if positions:
        lines.append(f"positions = [{', '.join(map(quoted, positions))}]")
    if item.plausible:
        lines.append(f"plausible = [{', '.join(map(quoted, item.plausible))}]  # {NOTE}")
    return "\n".join(lines)


def model_lines(key: str, family: str, draft: Draft) -> str:
    """A [[model]] in words."""
    return f"[[model]]\nkey = {quoted(key)}\nfamily = {quoted(family)}{_why(draft, f'model {key}')}"


def fault_lines(key: str, suspect: str) -> str:
    """A [[fault]] in words."""
    return f"[[fault]]\nkey = {quoted(key)}" + (
        f"\nsuspect = {quoted(suspect)}  # guess: the usual first suspect" if suspect else ""
    )


def tech_lines(key: str, words: list[str]) -> str:
    """A [[tech]] in words."""
    return f"[[tech]]\nkey = {quoted(key)}" + (f"\nwords = [{', '.join(map(quoted, words))}]" if words else "")


def log_lines(log: LogDraft, draft: Draft) -> str:
    """A [[log]] in words."""
    seen = log.survey
    name = seen.name
    lines = [
        "[[log]]",
        f"name = {quoted(name)}",
        f"files = {quoted(log.files)}  # guess: the name with its numbers left open",
        f'shape = "{seen.shape}"',
    ]
    if log.stage:
        lines.append(f"stage = {quoted(log.stage)}{_why(draft, f'stage of {name}')}")
    lines.append(f'date_order = "{log.order}"{_why(draft, f"dates of {name}")}')
    lines.append(f'decimal = "{seen.decimal}"')
    if log.empty_outcome != "open":
        lines.append(f"empty_outcome = {quoted(log.empty_outcome)}")
    lines += ["", "[log.headings]"]
    for column in seen.columns:
        told = (
            (f"{column.filled} of {seen.rows} filled: {', '.join(short(sample)[:20] for sample in column.samples)}")
            .replace("\n", " ")
            .replace("\r", " ")
        )
        target = log.headings.get(column.heading)
        mark = "" if column.guess.sure else "guess; "
        lines.append(
            f"{quoted(column.heading)} = {quoted(target)}  # {mark}{told}"
            if target
            else f"# not known, kept as typed: {quoted(column.heading)}: {told}"
        )
    if log.units:
        lines += ["", "[log.units]"]
        lines += [
            f"{measure} = {quoted(unit)}{_why(draft, f'unit of {measure} in {name}')}"
            for measure, unit in log.units.items()
        ]
    for field, words in log.words.items():
        if words:
            lines += [
                "",
                f"[log.words.{field}]",
                *(f"{quoted(word)} = {quoted(key)}  # guess" for word, key in words.items()),
            ]
    return "\n".join(lines)
