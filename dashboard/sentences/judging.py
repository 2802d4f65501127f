"""By what the charts of a shop are judged, and how far the promise goes, in words."""

from dashboard import numbers
from ingest.shopfiles.shop import Shop


def judged_by(shop: Shop) -> str:
    """By what the charts of this shop are judged."""
    budget = shop.judging.budget
    if budget is None:
        rules = ", ".join(shop.judging.rules)
        return (
            f"Classical limits at {numbers.plain(shop.judging.width, 1).removesuffix('.0')} spreads; what opens a "
            f"signal: {rules}."
        )
    allowed = numbers.in_words(int(budget), capital=True) if budget == int(budget) else numbers.plain(budget, 1)
    return (
        f"{allowed} false {'signal' if budget <= 1 else 'signals'} a week {'is' if budget <= 1 else 'are'} allowed for."
    )


def how_it_judges(shop: Shop) -> list[str]:
    """What the page promises, and where the promise is weaker."""
    budget = shop.judging.budget
    said = []
    if budget is None:
        said.append(f"{judged_by(shop)} The other run rules are drawn under the chart and open nothing.")
    else:
        said.append(
            f"{judged_by(shop)} That is a mean over all charts that can open. The run rules under the chart are marks "
            "and open nothing; one reading beyond four times the usual spread, or one whose pattern is as "
            "rare, is an odd instrument."
        )
    said.append(
        "The centre line is the mean of the baseline: the limits on file, else the first "
        f"{numbers.count(shop.judging.baseline_readings)} readings. "
        "The usual spread (one standard deviation, sigma) comes from the difference between neighbouring "
        "readings. A signal stays open until the readings say that the series is back at its centre line (a "
        "thousand times likelier than staying away), until new limits, or until a person closes it; opening "
        "again within thirteen weeks in the same direction it goes on."
    )
    if budget is not None:
        said.append(
            "From four hundred readings of complete baselines of a characteristic on, the limits follow the law of "
            "these readings; before that a normal curve is taken for granted, and readings that do not follow it raise "
            "more false signals. In 200 simulated shops with limits of their own law, one a week allowed: 1.3 times as "
            "many where the tails are as heavy as those of Student's t with 5 degrees of freedom, 1.2 times where the "
            "curve is as skewed as a gamma with shape 4, 1.0 times where readings are rounded to half a spread, where "
            "setters spread unequally or where neighbours are alike."
        )
    return said
