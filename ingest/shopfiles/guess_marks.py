"""What a line marked `guess` in shop.toml says of a family that no model has any more: nothing. So a family that is put
right by hand takes no other line with it.
"""

import re
import tomllib
from typing import Any

_GUESSED = re.compile(r"^(set_at\s*=\s*\{.*\})\s*#\s*guess\b.*$", re.MULTILINE)


def without_lost_families(text: str, table: dict[str, Any]) -> dict[str, Any]:
    """The table of a shop.toml, each guessed `set_at` without the families that no [[model]] is of.

    text : of the file, whose comments the table does not hold.
    """
    items, models = table.get("characteristic"), table.get("model")
    guessed = [tomllib.loads(line)["set_at"] for line in _GUESSED.findall(text)]
    if not guessed or not isinstance(items, list) or not isinstance(models, list):
        return table
    families = {model.get("family") for model in models if isinstance(model, dict)} | {"other"}
    kept = [
        item | {"set_at": {family: at for family, at in item["set_at"].items() if family in families}}
        if isinstance(item, dict) and item.get("set_at") in guessed
        else item
        for item in items
    ]
    return table | {"characteristic": kept}
