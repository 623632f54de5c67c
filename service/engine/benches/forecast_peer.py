"""The forecast of benches/forecast.rs in vectorised NumPy and SciPy.

A second implementation of the same models, to compare speed and results. The benchmark runs it, compares times and dates,
and prints how much they differ. Usage: forecast_peer.py DIRECTORY, with the rain.csv and system.json of the benchmark.

Loops over days are array operations. Figures that depend on the event before (solids on the roof, a chamber that drips)
use a loop over events. The chance that an accumulated figure has reached its limit is an integral over the logarithm of
the unread part, with the log-normal limit inside. Exact limits use the incomplete gamma function. "search" finds a date
by looking at 29 days at a time, then again between two of them. "scan" looks at every day to the horizon and is the
shorter program.
"""

import csv
import json
import sys
import time
from pathlib import Path

import numpy as np
from scipy.special import gammaincc, gammaln, ndtr

WET_MM = 0.1
LOSS_MM = 0.5
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31.0])
MEAN_MONTH_DAYS = np.where(np.arange(12) == 1, 28.25, MONTH_DAYS)
BLOCK = 30
YEAR = 365
# What a window from 10 to 90 % adds to an estimated variance, per unit of its relative variance.
WIDENED = (1.0 + 1.2815515655446**2) / 4.0


def smooth(x):
    """Smooths months along the first axis by 1/4, 1/2, 1/4. December is next to January."""
    return 0.25 * np.roll(x, 1, axis=0) + 0.5 * x + 0.25 * np.roll(x, -1, axis=0)


def by_month(month, weights):
    return np.bincount(month, weights=weights, minlength=12)


def monthly_means(sums, days):
    year = sums.sum() / days.sum()
    sums, days = smooth(sums), smooth(days)
    lent = np.maximum(15.0 - days, 0.0)
    return (sums + lent * year) / (days + lent)


class Calendar:
    """Months and days of the year of consecutive days. Days count from 1970-01-01."""

    def __init__(self, first, count):
        days = np.arange(first, first + count).astype("datetime64[D]")
        months = days.astype("datetime64[M]")
        self.month_id = months.astype(int)
        self.month = self.month_id % 12
        self.of_month = (days - months).astype(int) + 1
        self.of_year = (days - days.astype("datetime64[Y]")).astype(int) + 1


class Spread:
    """How much 30-day totals differ from what their months lead one to expect."""

    def __init__(self, observed, expected):
        self.count = len(observed)
        self.squares = np.sum((observed - expected) ** 2)
        self.expected = expected.sum()
        self.expected2 = np.sum(expected**2)

    def measure(self, kappa, years, usual):
        kept = 1.0 - 0.625 / years
        excess = (self.squares / kept - kappa * self.expected) / self.expected2
        cv30 = np.sqrt(self.squares / self.expected2 / kept)
        variance = max((24.0 * usual**2 + self.count * excess) / (24.0 + self.count), 0.01)
        doubt = WIDENED * cv30**2 * (2.0 + 6.0 * cv30**2) / (24.0 + self.count)
        return np.sqrt(variance), cv30, doubt

    def dispersion(self, most, years, sigma):
        left = self.squares / (1.0 - 0.625 / years) - sigma**2 * self.expected2
        own = min(max(left / self.expected, 0.0), most)
        return (24.0 * most + self.count * own) / (24.0 + self.count)


def blocks_of(values, month, known, length):
    """Sums and known days by month of the whole blocks."""
    whole = len(values) // length
    cut = whole * length
    block = np.repeat(np.arange(whole), length)
    days = np.zeros((whole, 12))
    np.add.at(days, (block, month[:cut]), known[:cut])
    return values[:cut].reshape(whole, length).sum(axis=1), days


class Gauge:
    """The climate of a record, NaN for days without a reading."""

    def __init__(self, first, mm):
        self.first, self.mm = first, mm
        self.calendar = Calendar(first, len(mm))
        self.known = ~np.isnan(mm)
        self.known_by_month = by_month(self.calendar.month, self.known)
        self.fit()

    def fit(self):
        month, leap = self.calendar.month, (self.calendar.month == 1) & (self.calendar.of_month == 29)
        mm = self.mm.copy()
        # A leap day is added to the day before it, when both were read.
        at = np.flatnonzero(leap)
        mm[at - 1] += np.nan_to_num(mm[at])
        mm, month = mm[~leap], month[~leap]
        known = ~np.isnan(mm)
        p = np.where(known, mm, 0.0)
        wet = known & (p >= WET_MM)
        before = np.concatenate(([0.0], mm[:-1]))
        after_wet = known & (before >= WET_MM)
        after_dry = known & ~np.isnan(before) & ~after_wet
        runoff = np.maximum(p - LOSS_MM, 0.0) * known

        days = by_month(month, known)
        n, n1, n0 = by_month(month, wet), by_month(month, after_wet), by_month(month, after_dry)
        n11, n01 = by_month(month, after_wet & wet), by_month(month, after_dry & wet)
        total, square = by_month(month, wet * p), by_month(month, wet * p * p)

        p01 = (smooth(n01) + 4.0 * n01.sum() / n0.sum()) / (smooth(n0) + 4.0)
        p11 = (smooth(n11) + 4.0 * n11.sum() / n1.sum()) / (smooth(n1) + 4.0)
        count = smooth(n)
        mean = (smooth(total) + 2.0 * total.sum() / n.sum()) / (count + 2.0)
        second = (smooth(square) + 2.0 * square.sum() / n.sum()) / (count + 2.0)
        raw = second / mean**2 - 1.0
        cv2 = np.maximum((count * raw + 30.0 * np.sum(count * raw) / count.sum()) / (count + 30.0), 0.05)

        share = p01 / (1.0 + p01 - p11)
        d = np.clip(p11 - p01, -0.98, 0.98)
        variance = share * mean**2 * cv2 + share * (1.0 - share) * mean**2 * (1.0 + d) / (1.0 - d)
        self.kappa = np.sum(variance * MONTH_DAYS) / np.sum(share * mean * MONTH_DAYS)
        self.wet_share = share
        self.years = days.sum() / YEAR

        daily = monthly_means(by_month(month, runoff), days)
        observed, in_block = blocks_of(runoff, month, known, BLOCK)
        enough = in_block.sum(axis=1) >= 25
        expected = in_block @ daily
        self.sigma_month, cv30, self.doubt_month = Spread(observed[enough], expected[enough]).measure(self.kappa, self.years, 0.35)
        self.sampling = cv30 / np.sqrt(self.years)

        observed, in_year = blocks_of(runoff, month, known, YEAR)
        enough = in_year.sum(axis=1) >= 330
        monthly = daily * MONTH_DAYS
        annual = monthly.sum()
        totals = observed[enough] + annual - in_year[enough] @ daily
        cv2 = (4.0 * 0.18**2 + np.sum((totals - totals.mean()) ** 2) / totals.mean() ** 2) / (3.0 + len(totals))
        excess = cv2 - self.kappa / annual - np.expm1(self.sigma_month**2) * np.sum(monthly**2) / annual**2
        self.sigma_year = np.sqrt(max((6.0 * 0.06**2 + len(totals) * excess) / (6.0 + len(totals)), 0.02**2))

        by_months = np.expm1(self.sigma_month**2) * np.sum(monthly**2) / annual**2
        of_year = self.kappa / annual + by_months + np.expm1(self.sigma_year**2)
        self.level = self.sigma_year / np.sqrt(self.years)
        self.year = np.sqrt(self.sigma_year**2 + WIDENED * 2.0 * of_year / (6.0 + len(totals)))

        _, in_block = blocks_of(self.mm, self.calendar.month, self.known, BLOCK)
        self.blocks = in_block, in_block.sum(axis=1) >= 25


class Catchment:
    """Days with runoff, the solids on the roof before them and the solids they washed off."""

    MOST, BUILD_UP, WASH = 3.5, 0.05, np.log(2.0)

    def __init__(self, gauge, roof):
        self.gauge = gauge
        known, loss = gauge.known, roof["wetting_loss_mm"]
        rain = np.where(known, gauge.mm, 0.0)
        # The film that wets the roof dries within one dry day, so each run of wet days fills it again.
        total = np.concatenate(([0.0], np.cumsum(rain)))
        index = np.arange(len(rain))
        spell = np.maximum.accumulate(np.where(rain > 0.0, -1, index))
        begun = total[spell + 1]
        gone = np.maximum(total[1:] - begun - loss, 0.0)
        gone_before = np.where(spell < index - 1, np.maximum(total[:-1] - begun - loss, 0.0), 0.0)
        runoff = roof["coefficient"] * (gone - gone_before) * (rain > 0.0)

        self.at = np.flatnonzero(runoff > 0.0)
        self.mm = runoff[self.at]
        self.month = gauge.calendar.month[self.at]
        # Days since the event before. The first event after a gap counts from the day before the readings.
        starts = np.flatnonzero(known & ~np.concatenate(([False], known[:-1])))
        event_before = np.concatenate(([-1], self.at[:-1]))
        start_before = starts[np.searchsorted(starts, self.at, side="right") - 1] - 1
        self.after_gap = start_before >= event_before
        self.before = np.maximum(event_before, start_before)
        wait = self.at - self.before
        self.days_back = np.sum(wait.astype(float) ** 2) / wait.sum() / 2.0
        self.lump = np.sum(self.mm**2) / self.mm.sum()

        kept = np.exp(-self.BUILD_UP * (wait - 1.0)).tolist()
        left = np.exp(-self.WASH * self.mm).tolist()
        after_gap = self.after_gap.tolist()
        lying, held = [], 0.0
        for i in range(len(left)):
            if after_gap[i]:
                held = 0.2 * self.MOST
            on_roof = self.MOST - (self.MOST - held) * kept[i]
            lying.append(on_roof)
            held = on_roof * left[i]
        self.lying = np.array(lying)
        self.washed = self.lying * -np.expm1(-self.WASH * self.mm)


def leaf_fall(system):
    """kg of dry leaf a day on a m2 of roof, by month, under deciduous trees of the north."""
    share = np.array([0.02, 0.02, 0.02, 0.04, 0.05, 0.04, 0.04, 0.05, 0.10, 0.30, 0.25, 0.07])
    under = system["roof"]["canopy_share"]
    return (0.5 * under * share + 0.02 * (1.0 - under) / 12.0) / MEAN_MONTH_DAYS


def chamber_takes(duty, catchment):
    """What a chamber takes of each event, in mm, and whether that fills it."""
    volume, mm = duty["chamber_mm"], catchment.mm
    rate = duty.get("drip_mm_per_day")
    if rate is None:
        return np.minimum(mm, volume), mm >= volume
    room = volume
    taken, full = [], []
    for amount, days in zip(mm.tolist(), np.diff(catchment.at, prepend=-(10**6)).tolist()):
        room = min(room + rate * days, volume)
        took = min(amount, room)
        room -= took
        taken.append(took)
        full.append(room == 0.0)
    return np.array(taken), np.array(full)


def diverted(duty, catchment):
    """Solids that stay in a chamber, g per m2 of roof."""
    taken, _ = chamber_takes(duty, catchment)
    return catchment.lying * 0.8 * -np.expm1(-Catchment.WASH * taken)


def event_amounts(duty, system, catchment):
    roof, kind = system["roof"], duty["exposure"]
    if kind == "runoff":
        return catchment.mm
    if kind == "fills":
        return chamber_takes(duty, catchment)[1].astype(float)
    if kind == "grit":
        return diverted(duty, catchment)
    if kind == "sediment":
        depth = 0.8 * roof["plan_area_m2"] / duty["floor_area_m2"] / 100.0
        return (catchment.washed - diverted(duty, catchment)) * depth
    caught = {"leaves": 0.05, "gutter_leaves": 0.2}[kind] * roof["plan_area_m2"] / duty["catcher"]
    fall = leaf_fall(system) * caught
    fallen = np.concatenate(([0.0], np.cumsum(fall[catchment.gauge.calendar.month])))
    lying = fallen[catchment.at + 1] - fallen[catchment.before + 1]
    return lying + catchment.after_gap * fall[catchment.month] * catchment.days_back


def light_doses(duty, system, gauge):
    """Ultraviolet dose of every read day, and the mean dose of a day by month."""
    site = system["site"]
    day = np.arange(1, 367)
    b = 2.0 * np.pi * (day - 1) / 365.0
    c1, s1, c2, s2, c3, s3 = np.cos(b), np.sin(b), np.cos(2 * b), np.sin(2 * b), np.cos(3 * b), np.sin(3 * b)
    declination = (
        0.006918 - 0.399912 * c1 + 0.070257 * s1 - 0.006758 * c2 + 0.000907 * s2 - 0.002697 * c3 + 0.00148 * s3
    )
    distance = 1.00011 + 0.034221 * c1 + 0.00128 * s1 + 0.000719 * c2 + 0.000077 * s2
    latitude = np.radians(site["latitude_deg"])
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    sky = 86400.0 / np.pi * 1366.1 * distance / 1e6 * (
        sunset * np.sin(latitude) * np.sin(declination)
        + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    )
    at = np.interp(abs(site["latitude_deg"]), duty["orientation_latitudes"], duty["orientation_factors"])
    sky *= (1.0 + 0.08 * site["elevation_m"] / 1000.0) * at * (1.0 - duty["shade_share"])
    warmth = np.array(duty["warmth"])
    dry, wet = 0.57 * 0.043, 0.42 * 0.053
    calendar = gauge.calendar
    weather = np.where(gauge.mm >= WET_MM, wet, dry) * gauge.known
    doses = sky[calendar.of_year - 1] * weather * warmth[calendar.month]
    months = np.repeat(np.arange(12), MONTH_DAYS.astype(int))
    mean = by_month(months, sky[:365]) / MONTH_DAYS * warmth
    return doses, mean * (gauge.wet_share * wet + (1.0 - gauge.wet_share) * dry)


class Law:
    """What unread days bring: daily mean by month, kappa, log-sds of month, year, climatology and level."""

    def __init__(self, daily, kappa, month, year, sampling=0.0, level=0.0):
        self.daily, self.kappa = np.asarray(daily, float), kappa
        self.excess = np.expm1(np.array([month, year, sampling, level]) ** 2)


def stray(daily, mean, gauge):
    """How much blocks of 30 days differ from the means of their days."""
    in_block, enough = gauge.blocks
    observed = daily[: len(in_block) * BLOCK].reshape(-1, BLOCK).sum(axis=1)[enough]
    return Spread(observed, (in_block @ mean)[enough])


def count(duty, system, gauge, catchment):
    """Amounts by day of the record, or None for a duty without readings. Also the law of the unread days."""
    kind = duty["exposure"]
    if kind == "steady":
        return None, Law(duty["daily"], 0.0, duty["sigma_month"], duty["sigma_year"])
    if kind == "roof_leaves":
        return None, Law(leaf_fall(system), 0.0, 0.35, 0.2)
    if kind == "ultraviolet":
        doses, mean = light_doses(duty, system, gauge)
        return doses, Law(mean, 0.15 * np.sum(mean * MEAN_MONTH_DAYS) / 365.25, 0.08, 0.03)
    amounts = event_amounts(duty, system, catchment)
    daily = np.zeros(len(gauge.mm))
    daily[catchment.at] = amounts
    sums = by_month(catchment.month, amounts)
    lump = np.sum(amounts**2) / amounts.sum()
    if kind in ("leaves", "gutter_leaves"):
        mean = sums / gauge.known_by_month
        kappa = stray(daily, mean, gauge).dispersion(lump, gauge.years, 0.0)
        return daily, Law(mean, kappa, 0.35, 0.2)
    mean = monthly_means(sums, gauge.known_by_month)
    coefficient = system["roof"]["coefficient"]
    if kind == "runoff":
        month = np.sqrt(gauge.sigma_month**2 + gauge.doubt_month)
        return daily, Law(mean, gauge.kappa * coefficient, month, gauge.year, gauge.sampling, gauge.level)
    kappa = gauge.kappa * lump * coefficient / catchment.lump
    strayed = stray(daily, mean, gauge)
    sigma, cv30, doubt = strayed.measure(kappa, gauge.years, gauge.sigma_month)
    kappa = strayed.dispersion(kappa, gauge.years, sigma)
    month = np.sqrt(sigma**2 + doubt)
    return daily, Law(mean, kappa, month, gauge.year, cv30 / np.sqrt(gauge.years), gauge.level)


class Course:
    """An accumulated figure from the last service to the horizon. Day 1 is the day after the service."""

    def __init__(self, since, today, horizon, gauge, amounts, law):
        self.law, self.past, self.last = law, today - since, today - since + horizon
        unread = np.ones(self.past, bool)
        known = np.zeros(self.past)
        if amounts is not None:
            low, high = max(since + 1, gauge.first), min(today + 1, gauge.first + len(gauge.mm))
            if low < high:
                known[low - since - 1 : high - since - 1] = amounts[low - gauge.first : high - gauge.first]
                unread[low - since - 1 : high - since - 1] = ~gauge.known[low - gauge.first : high - gauge.first]
        self.known = np.concatenate(([0.0], np.cumsum(known)))
        self.unread = np.concatenate(([0], np.cumsum(unread)))
        # Months from the first day to the last: the end of each, and what its unread days bring.
        first = np.datetime64(since + 1, "D").astype("datetime64[M]").astype(int)
        final = np.datetime64(since + self.last, "D").astype("datetime64[M]").astype(int)
        months = np.arange(first, final + 2)
        starts = months.astype("datetime64[M]").astype("datetime64[D]").astype(int) - since - 1
        self.starts = np.clip(starts, 0, self.last)
        self.rate = law.daily[months % 12]
        self.month = months % 12
        amount = np.diff(self.unread_by(self.starts)) * self.rate[:-1]
        self.mean = np.concatenate(([0.0], np.cumsum(amount)))
        self.squares = np.concatenate(([0.0], np.cumsum(amount**2)))
        if law.excess[2] > 0.0:
            by_calendar = np.zeros((12, len(months)))
            by_calendar[self.month[:-1], np.arange(1, len(months))] = amount
            self.smoothed = smooth(np.cumsum(by_calendar, axis=1))

    def unread_by(self, days):
        return self.unread[np.minimum(days, self.past)] + np.maximum(days - self.past, 0)

    def tally(self, days):
        """Known part, and mean and variance of the rest, by the end of some days."""
        law = self.law
        at = np.searchsorted(self.starts, days, side="left") - 1
        unread = self.unread_by(days)
        amount = (unread - self.unread_by(self.starts[at])) * self.rate[at]
        mean = self.mean[at] + amount
        variance = law.kappa * mean + law.excess[0] * (self.squares[at] + amount**2)
        variance += law.excess[1] * mean**2 / np.maximum(np.ceil(unread / YEAR), 1) + law.excess[3] * mean**2
        if law.excess[2] > 0.0:
            smoothed = self.smoothed[:, at]
            here, column = self.month[at], np.arange(len(days))
            for shift, share in ((-1, 0.25), (0, 0.5), (1, 0.25)):
                smoothed[(here + shift) % 12, column] += share * amount
            variance += law.excess[2] * np.sum(smoothed**2, axis=0)
        return self.known[np.minimum(days, self.past)], mean, variance


def chance(known, mean, variance, median, log_sd):
    """P(known + Gamma(mean, variance) >= log-normal limit), for arrays of days."""
    nodes = 64
    with np.errstate(divide="ignore", invalid="ignore"):
        if log_sd == 0.0:
            shape = mean**2 / variance
            above = gammaincc(shape, np.maximum(median - known, 0.0) * shape / mean)
            return np.where(mean > 0.0, above, known >= median)
        out = ndtr(np.log(known / median) / log_sd)
        some = mean > 0.0
        settled, k, m = out[some, None], known[some, None], mean[some, None]
        shape = m**2 / variance[some, None]
        # v = ln(X / mean), between the two points where its density has fallen to 2e-9.
        c = 20.0 / shape
        root = np.sqrt(2.0 * c)
        low = -np.minimum(c + 1.0, root + 0.4 * c)
        # With a known part, what is left to settle falls with the exposure, so the integrand falls before the density.
        beside = -(20.0 + shape + np.log(0.4 * m / (k * log_sd))) / (shape + 1.0)
        low = np.where(k > 0.0, np.maximum(low, np.minimum(beside, -0.1)), low)
        high = np.log(1.0 + root + c)
        step = (high - low) / (nodes - 1)
        v = low + step * np.arange(nodes)
        grown = np.exp(v)
        density = np.exp(shape * (v - grown + 1.0) + shape * np.log(shape) - shape - gammaln(shape))
        reached = ndtr(np.log((k + m * grown) / median) / log_sd)
        out[some] = settled[:, 0] + np.sum(density * (reached - settled), axis=1) * step[:, 0]
        return np.clip(out, 0.0, 1.0)


LEVELS = (0.1, 0.5, 0.9)


def dates_by_scan(path, duty):
    days = np.arange(1, path.last + 1)
    chances = np.maximum.accumulate(chance(*path.tally(days), duty["median"], duty["log_sd"]))
    return [int(i) + 1 if i < path.last else None for i in np.searchsorted(chances, LEVELS)]


def dates_by_search(path, duty):
    """Looks at 29 days between the ends, then at 29 between two of those, and so on. Finds all three dates at once."""
    lows, highs = [0] * 3, [path.last + 1] * 3
    while max(high - low for low, high in zip(lows, highs)) > 1:
        grid = [np.unique(np.linspace(low, high, 31).astype(int)[1:-1]) for low, high in zip(lows, highs)]
        days = np.unique(np.concatenate(grid))
        days = days[(days > 0) & (days <= path.last)]
        chances = chance(*path.tally(days), duty["median"], duty["log_sd"])
        for i, level in enumerate(LEVELS):
            inside = (days > lows[i]) & (days < highs[i])
            own, reached = days[inside], chances[inside] >= level
            first = int(np.argmax(reached)) if reached.any() else len(own)
            lows[i] = int(own[first - 1]) if first > 0 else lows[i]
            highs[i] = int(own[first]) if first < len(own) else highs[i]
    return [high if high <= path.last else None for high in highs]


def duty_forecast(duty, system, gauge, catchment, find):
    amounts, law = count(duty, system, gauge, catchment)
    path = Course(duty["since"], system["today"], system["horizon_days"], gauge, amounts, law)
    soon = np.array([path.past, path.past + 7, path.past + 30, path.past + 90])
    known, mean, variance = path.tally(soon)
    chances = np.maximum.accumulate(chance(known, mean, variance, duty["median"], duty["log_sd"]))
    return known[0] + mean[0], chances, find(path, duty)


def shared(system, gauge, catchment, find):
    return [duty_forecast(duty, system, gauge, catchment, find) for duty in system["duties"]]


def alone(system, first, mm, find):
    gauge = Gauge(first, mm)
    return shared(system, gauge, Catchment(gauge, system["roof"]), find)


def best(run):
    """The shortest run within three seconds: the speed of the machine without other work."""
    best, begun = np.inf, time.perf_counter()
    while time.perf_counter() - begun < 3.0:
        start = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - start)
    return best


def main():
    directory = Path(sys.argv[1])
    system = json.loads((directory / "system.json").read_text())
    with open(directory / "rain.csv", newline="") as file:
        rows = [(np.datetime64(row["date"], "D").astype(int), float(row["mm"])) for row in csv.DictReader(file)]
    first = int(rows[0][0])
    mm = np.full(int(rows[-1][0]) - first + 1, np.nan)
    for day, value in rows:
        mm[int(day) - first] = value

    gauge = Gauge(first, mm)
    catchment = Catchment(gauge, system["roof"])
    print("time shared", best(lambda: shared(system, gauge, catchment, dates_by_search)))
    print("time alone", best(lambda: alone(system, first, mm, dates_by_search)))
    print("time scan", best(lambda: shared(system, gauge, catchment, dates_by_scan)))
    searched = shared(system, gauge, catchment, dates_by_search)
    scanned = shared(system, gauge, catchment, dates_by_scan)
    for duty, (value, chances, dates), (_, _, by_scan) in zip(system["duties"], searched, scanned):
        words = [duty["name"], value, *chances]
        words += ["-" if n is None else n + duty["since"] for n in (*dates, *by_scan)]
        print("duty", *words, sep="\t")


if __name__ == "__main__":
    main()
