"""What waiting costs: how patches grow, at what rate they have grown, and what is left after each year's kill.

Rates differ by species and stage and have no defaults; areas may be in any unit, the same in and out, unless named.
"""

from __future__ import annotations

import math


def radial_area_m2(area_m2: float, *, rate_m_per_year: float, years: float, patches: int = 1) -> float:
    """The area of round patches of one size after their edges have moved outwards, none over another.

    So it is an upper bound where patches meet. Many small patches gain far more ground than one of the same area (Moody
    and Mack 1988, J. Appl. Ecol. 25:1009-1021).

    Raises
    ------
    ValueError
        When anything is below zero or not finite.

    Examples
    --------
    >>> round(radial_area_m2(10_000, rate_m_per_year=2, years=10))
    18346
    """
    _from_zero(area_m2=area_m2, rate_m_per_year=rate_m_per_year, years=years, patches=patches)
    return patches * math.pi * (math.sqrt(area_m2 / math.pi) + rate_m_per_year * years) ** 2


def exponential_area(area: float, *, growth_per_year: float, years: float) -> float:
    """An area that grows by a steady rate with nothing in its way.

    Raises
    ------
    ValueError
        When area or years are below zero or anything is not finite.
    """
    _from_zero(area=area, years=years)
    return area * math.exp(_finite(growth_per_year=growth_per_year) * years)


def logistic_area(area: float, *, most: float, growth_per_year: float, years: float) -> float:
    """An area that grows ever more slowly the nearer it comes to ``most``, what there is to occupy.

    Raises
    ------
    ValueError
        When the area is not from above 0 to ``most``, years are below zero or anything is not finite.

    Examples
    --------
    >>> round(logistic_area(2, most=50, growth_per_year=0.3, years=5), 3)
    7.868
    """
    _from_zero(area=area, years=years)
    _part_of(area, most)
    return most / (1 + (most - area) / area * math.exp(-_finite(growth_per_year=growth_per_year) * years))


def fastest_year(area: float, *, most: float, growth_per_year: float) -> float:
    """After how many years logistic growth is fastest: when half of ``most`` is occupied; negative if that is over.

    Raises
    ------
    ValueError
        When the area is not from above 0 to below ``most``, or the rate is not above zero.
    """
    _part_of(area, most)
    if area == most or not growth_per_year > 0:
        raise ValueError("growth is fastest only below the most there can be, and at a rate above zero")
    return math.log((most - area) / area) / growth_per_year


def yearly_rate_pct(first: float, second: float, *, years: float) -> float:
    """The steady yearly rate, compounding, that leads from one inventory to another.

    Raises
    ------
    ValueError
        When an inventory or the years are not above zero.

    Examples
    --------
    >>> round(yearly_rate_pct(269, 404, years=6), 3)
    7.013
    """
    for name, number in {"first": first, "second": second, "years": years}.items():
        if not 0 < number < math.inf:
            raise ValueError(f"{name} must be above zero, not {number}")
    return 100 * math.expm1(math.log(second / first) / years)


def doubling_years(rate_pct_per_year: float) -> float:
    """In how many years a compounding rate doubles; infinite at 0, negative rates halve and are refused.

    Raises
    ------
    ValueError
        When the rate is below zero or not finite.
    """
    _from_zero(rate_pct_per_year=rate_pct_per_year)
    return math.log(2) / math.log1p(rate_pct_per_year / 100) if rate_pct_per_year else math.inf


def yearly_share_pct(gain_per_year: float, *, occupied: float) -> float:
    """A yearly gain as a share of what is occupied.

    Raises
    ------
    ValueError
        When nothing is occupied or anything is not finite.
    """
    if not 0 < occupied < math.inf:
        raise ValueError(f"occupied must be above zero, not {occupied}")
    return 100 * _finite(gain_per_year=gain_per_year) / occupied


def present_cost_of_waiting(cost_now: float, *, growth_per_year: float, discount_pct: float, years: float) -> float:
    """What treating later costs in today's money: the area grows by a steady rate, money later is worth less.

    Raises
    ------
    ValueError
        When cost, discount or years are below zero or anything is not finite.

    Examples
    --------
    >>> round(present_cost_of_waiting(600, growth_per_year=0.3, discount_pct=5, years=3))
    1275
    """
    _from_zero(cost_now=cost_now, discount_pct=discount_pct, years=years)
    grown = exponential_area(cost_now, growth_per_year=growth_per_year, years=years)
    return grown / (1 + discount_pct / 100) ** years


def follow_up_areas(area: float, *, kill_pct: float, regrowth: float, years: int) -> list[float]:
    """What is to be treated in the first year and each of ``years`` after it: what survives, times what it regrows to.

    Raises
    ------
    ValueError
        When the kill is not from 0 to 100 %, or anything is below zero.

    Examples
    --------
    >>> [round(left, 4) for left in follow_up_areas(5, kill_pct=90, regrowth=1.5, years=2)]
    [5.0, 0.75, 0.1125]
    """
    _from_zero(area=area, kill_pct=kill_pct, regrowth=regrowth, years=years)
    if kill_pct > 100:
        raise ValueError(f"kill_pct lies from 0 to 100, not {kill_pct}")
    return [area * ((1 - kill_pct / 100) * regrowth) ** year for year in range(years + 1)]


def _finite(**named: float) -> float:
    ((name, number),) = named.items()
    if not math.isfinite(number):
        raise ValueError(f"{name} must be a number, not {number}")
    return number


def _from_zero(**named: float) -> None:
    for name, number in named.items():
        if not 0 <= number < math.inf:
            raise ValueError(f"{name} must be a number from zero on, not {number}")


def _part_of(area: float, most: float) -> None:
    if not 0 < area <= most < math.inf:
        raise ValueError(f"the area must be above zero and at most {most}, not {area}")
