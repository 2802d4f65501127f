"""What pydantic finds wrong with shop.toml, in the words of the file: which key, what was found, what is allowed."""

from typing import Any, get_args

from pydantic import BaseModel

AMOUNTS = ("resolution", "leaves", "plausible", "even_within", "master", "scale", "starts_at")  # keys of amounts


def told(fault: Any, table: dict[str, Any], whole: type[BaseModel]) -> list[str]:
    """One fault that pydantic found in a table, in the words of the shop file, a line each.

    whole : the model of the whole table.
    """
    kind, place = fault["type"], [part for part in fault["loc"] if "constrained-float" not in str(part)]
    where = _where(place, table)
    if kind == "extra_forbidden":
        return [f"{where} is not a key; wanted one of {', '.join(_keys_at(place, whole))}"]
    if kind == "missing":
        return [f"{where} is missing"]
    if kind in ("value_error", "assertion_error"):
        said = str(fault["ctx"]["error"])
        return (
            said.split("\n")
            if not place
            else [f"{where}: {said}" if isinstance(fault["input"], dict) else f"{where} = {fault['input']!r}: {said}"]
        )
    wanted = "at least one" if kind == "too_short" else str(fault["msg"]).removeprefix("Input should be ")
    if kind == "string_type":
        amount = next((part for part in reversed(place) if isinstance(part, str)), "") in AMOUNTS
        wanted = 'a number with its unit in quotation marks, such as "0.05 mm"' if amount else "text in quotation marks"
    if kind in ("float_parsing", "float_type", "int_parsing", "int_type", "int_from_float"):
        wanted = "a whole number" if kind.startswith("int") else "a number"
    if kind == "literal_error":
        wanted = "one of " + str(fault["ctx"]["expected"]).replace(" or ", ", ").replace("'", '"')
    found = repr(fault["input"])
    return [f"{where} is {found if len(found) < 80 else found[:80] + '…'}; wanted {wanted}"]


def _where(place: list[Any], table: Any) -> str:
    """'stage receiving: minutes' for ('stage', 0, 'minutes')."""
    words: list[str] = []
    for part in place:
        if isinstance(part, int):
            entry = table[part] if isinstance(table, list) and part < len(table) else None
            label = entry.get("key", entry.get("name", "")) if isinstance(entry, dict) else ""
            words[-1] += f" {label or part + 1}"
            table = entry
        else:
            words.append(str(part))
            table = table.get(part) if isinstance(table, dict) else None
    return ": ".join(words) or "shop.toml"


def _keys_at(place: list[Any], whole: type[BaseModel]) -> list[str]:
    """The keys that the table around an unknown key may hold."""
    part: Any = whole
    for step in place[:-1]:
        if isinstance(step, str) and isinstance(part, type) and issubclass(part, BaseModel):
            fields = {field.alias or name: field for name, field in part.model_fields.items()}
            annotation = fields[step].annotation if step in fields else None
            part = next(
                (
                    kind
                    for kind in (annotation, *get_args(annotation))
                    if isinstance(kind, type) and issubclass(kind, BaseModel)
                ),
                None,
            )
    return [field.alias or name for name, field in part.model_fields.items()] if part is not None else []
