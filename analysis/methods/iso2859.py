"""What of the sampling tables of ISO 2859-1 could be confirmed against a printed copy, and nothing else.

The tables are a convention and cannot be computed. A supplier may be shown only cells that were read in print; the
others stand here from memory, checked for their structure, so that tests can hold the read ones against them.
Source: ISO 2859-1:1999, tables 1 and 2-A; cells at AQL 0.65 % read in Birolini, Reliability Engineering, 5th ed. 2007,
figure 7.4.
"""

from analysis.methods.acceptance import Plan
from analysis.methods.problems import UnusableData

READ = {("F", 0.65), ("J", 0.65), ("N", 0.65)}
LETTERS = "ABCDEFGHJKLMNPQR"
LOT_UP_TO = (
    8,
    15,
    25,
    50,
    90,
    150,
    280,
    500,
    1200,
    3200,
    10_000,
    35_000,
    150_000,
    500_000,
)  # the last class has no end
SIZES = dict(
    zip(LETTERS, (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000), strict=True)
)  # single, normal
LEVELS = {"I": "AABCCDEFGHJKLMN", "II": "ABCDEFGHJKLMNPQ", "III": "BCDEFGHJKLMNPQR"}
ACCEPT = {
    0.65: {"F": 0, "J": 1, "K": 2, "L": 3, "M": 5, "N": 7},
    1.0: {"E": 0, "H": 1, "J": 2, "K": 3, "L": 5, "M": 7},
    1.5: {"D": 0, "G": 1, "H": 2, "J": 3, "K": 5, "L": 7},
    2.5: {"C": 0, "F": 1, "G": 2, "H": 3, "J": 5, "K": 7, "L": 10},
}


def code_letter(lot: int, level: str = "II") -> str:
    """Sample size letter for a lot of `lot` instruments. From memory, checked for structure only: for tests and for
    orientation.
    """
    if lot < 2 or level not in LEVELS:
        raise UnusableData(f"a code letter needs a lot of two or more and level I, II or III; got {lot} and {level}")
    return LEVELS[level][sum(lot > end for end in LOT_UP_TO)]


def single_normal(letter: str, aql: float, *, from_memory: bool = False) -> Plan:
    """Single sampling plan under normal inspection for an AQL in per cent; cells not read in print only with
    `from_memory`.
    """
    cell = ACCEPT.get(aql, {}).get(letter)
    if cell is None or not (from_memory or (letter, aql) in READ):
        offered = ", ".join(f"{name} at {share} %" for name, share in sorted(READ))
        raise UnusableData(
            f"the plan for letter {letter} at AQL {aql} % is not confirmed; confirmed are {offered}: "
            "use acceptance.through with risks agreed with the supplier, or enter the sample and accept number agreed"
        )
    return Plan(SIZES[letter], cell)
