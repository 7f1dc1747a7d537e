"""Trials: judge a table, look at one that runs, how many it takes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, say, say_json, sorry, table

if TYPE_CHECKING:
    from chirr.desk.trial_answers import Question
    from chirr.desk.trial_tables import Table

STRAYS = 5

app = typer.Typer(
    help="Which way is better? Plan, watch and judge a trial.", no_args_is_help=True, rich_markup_mode=None,
    pretty_exceptions_enable=False,
)  # fmt: skip


@app.callback()
def begin() -> None:
    """Numbers of this size are worked out faster by one thread than by several that wait for each other."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


Json = Annotated[bool, typer.Option("--json", help="JSON, for other programs.")]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="The table: a CSV file with a header row.")]
Outcome = Annotated[str | None, typer.Option(metavar="COL", help="The column with what was counted, weighed or timed.")]
Way = Annotated[str | None, typer.Option(metavar="COL", help="The column that says which way each row had.")]
Block = Annotated[
    str | None, typer.Option(metavar="COL", help="The column of what belongs together: bin, date, pair number.")
]
MarginText = Annotated[
    str, typer.Option(metavar="M", help="How big a loss matters: 10%, or a number in the outcome's own unit.")
]
Name = Annotated[str | None, typer.Argument(metavar="TRIAL", help="A trial of the book; or else give --csv.")]
Paired = Annotated[
    bool, typer.Option("--paired", help="Rows come in pairs: by --block, else in the order of the file.")
]
Scale = Annotated[
    str | None,
    typer.Option(metavar="ratio|difference", help="Ratio of the ways, or difference; a margin in % means ratio."),
]
Alpha = Annotated[float, typer.Option(metavar="A", help="How often a verdict may be wrong.")]
Against = Annotated[
    str | None, typer.Option(metavar="WAY", help="The ordinary way, which the others are held against.")
]
Less = Annotated[bool, typer.Option("--less-is-better", help="As with minutes or deaths.")]
Equal = Annotated[
    bool, typer.Option("--equal-spread", help="Take both ways to vary equally, instead of each its own way.")
]


@contextmanager
def told_plainly() -> Iterator[None]:
    """What the desk or the engine refuses is what the user gave: one sentence, status 2."""
    from chirr.desk.trial_tables import REFUSALS

    try:
        yield
    except REFUSALS as fault:
        raise BadInput(str(fault)) from fault


@app.command(short_help="Judge a table: better, worse, as good, or not known yet.")
def judge(
    name: Name = None, csv: Csv = None, outcome: Outcome = None, way: Way = None, block: Block = None,
    margin: MarginText = "10%", paired: Paired = False, scale: Scale = None, alpha: Alpha = 0.05,
    against: Against = None, less_is_better: Less = False, equal_spread: Equal = False, json: Json = False,
) -> None:  # fmt: skip
    """Judge which way is better, or as good, from a table.

    The first way of the file is held against the second, or every other against the one named with --against. A trial
    of the farm's book is judged by its name and its own plan.
    """
    if name is not None:
        _from_book(name, csv, json=json)
        return
    read = _table(csv, outcome, way, block)
    with told_plainly():
        from chirr.desk.trial_answers import judged, judgement_json

        question = _question(margin, scale, alpha, against, paired=paired, less=less_is_better, equal=equal_spread)
        answer = judgement_json(judged(read.values, read.ways, read.blocks, question), read.remarks)
    if json:
        say_json(answer)
    else:
        tell_judgement(answer, str(outcome))


@app.command(short_help="Look at a trial that still runs: may it be stopped?")
def look(
    name: Name = None, csv: Csv = None, outcome: Outcome = None, way: Way = None, block: Block = None,
    margin: MarginText = "10%", paired: Paired = False, scale: Scale = None, alpha: Alpha = 0.05,
    against: Against = None, less_is_better: Less = False,
    planned: Annotated[
        str | None,
        typer.Option(metavar="N,N,N", help="Rows of each way (or pairs) at each planned look, the end last."),
    ] = None,
    json: Json = False,
) -> None:  # fmt: skip
    """Look at a trial that still runs, as often as you like: may it be stopped?"""
    if name is not None:
        _from_book(name, csv, json=json)
        return
    looks = _looks(planned)
    read = _table(csv, outcome, way, block)
    with told_plainly():
        from chirr.desk.trial_answers import looked

        question = _question(margin, scale, alpha, against, paired=paired, less=less_is_better, equal=False)
        answer = looked(read.values, read.ways, read.blocks, question, looks)
    if json:
        say_json(answer)
    else:
        tell_look(answer)


def _looks(text: str | None) -> list[int]:
    """Planned looks from '20,40,60'."""
    if text is None:
        return []
    parts = [p.strip() for p in text.split(",")]
    numbers = [int(p) for p in parts if p.isascii() and p.isdigit()]
    rising = all(a < b for a, b in pairwise(numbers))
    if len(numbers) < len(parts) or numbers[0] < 2 or not rising or numbers[-1] > 10**6:
        raise BadInput(f"--planned is {text}; write rising whole numbers of 2 or more, such as 20,40,60.")
    return numbers


@app.command(short_help="How sure, or how many?")
def power(
    margin: Annotated[str | None, typer.Option(metavar="M", help="How big a loss matters: 10%, or a number.")] = None,
    cv: Annotated[
        str | None, typer.Option(metavar="CV", help="Spread of single values in per cent, such as 40%.")
    ] = None,
    sd: Annotated[
        float | None, typer.Option(metavar="SD", help="Spread in the outcome's own unit, with a margin in that unit.")
    ] = None,
    design: Annotated[
        str, typer.Option(metavar="parallel|paired|crossover", help="How the ways are put to the bins.")
    ] = "parallel",
    truth: Annotated[
        str | None, typer.Option(metavar="T", help="The supposed truth: a ratio such as 95%, or a difference.")
    ] = None,
    n: Annotated[
        int | None,
        typer.Option(metavar="N", help="Of each way (parallel), pairs (paired), all bins (crossover)."),
    ] = None,
    power: Annotated[float, typer.Option(metavar="P", help="How sure to be of an answer, when asking how many.")] = 0.8,
    alpha: Alpha = 0.05,
    json: Json = False,
) -> None:
    """How sure is an answer with so many, or how many does it take?

    With --cv the scale is that of ratios and the spread that of single values: between bins of one way (parallel),
    within a bin (crossover), or of the ratio within pairs (paired). With --sd it is that of differences.
    """
    with told_plainly():
        answer = _power(margin, cv, sd, design, truth, n, power, alpha)
    if json:
        say_json(answer)
    else:
        _tell_power(answer)


def _power(
    margin: str | None, cv: str | None, sd: float | None, design: str, truth: str | None, n: int | None, wanted: float,
    alpha: float,
) -> dict[str, Any]:  # fmt: skip
    import math

    from chirr.desk.trial_answers import Design, power_answer

    if (cv is None) == (sd is None):
        raise BadInput("Give the spread either with --cv, such as 40%, or with --sd in the outcome's own unit.")
    if design not in ("parallel", "paired", "crossover"):
        raise BadInput(f"--design is {design}; use parallel, paired or crossover.")
    if n is not None and not 2 <= n <= 10**9:
        raise BadInput(f"--n is {n}; give a whole number from 2 to a thousand million.")
    if n is not None and design == "crossover" and n < 3:
        raise BadInput("--n is too small: a crossover needs three bins at least.")
    spread, bounds, true = _by_ratio(cv, margin, truth) if cv is not None else _by_difference(sd, margin, truth)
    if bounds is None and true == 0:
        raise BadInput("Give a margin with --margin, or a difference to find with --truth.")
    answer = power_answer(Design(kind=design, sd=spread), bounds, true, n=n, alpha=alpha, wanted=wanted)
    if cv is not None:
        for key in ("truth", "difference"):
            if key in answer:
                answer[key] = math.exp(answer[key])
        if "margin" in answer:
            answer["margin"] = [math.exp(x) for x in answer["margin"]]
    return answer | {"scale": "ratio" if cv is not None else "difference"}


Scaled = tuple[float, tuple[float, float] | None, float]
"""Spread, margin and supposed truth on the scale on which errors add."""


def _by_ratio(cv: str, margin: str | None, truth: str | None) -> Scaled:
    from math import log, log1p

    from chirr.desk.trial_answers import sd_of_log

    m = share(margin, "--margin", most=0.99) if margin is not None else 0.0
    spread = share(cv, "--cv", most=20)
    if spread == 0:
        raise BadInput("--cv is nought; single values always vary, so give a spread such as 40%.")
    true = log(share(truth, "--truth", most=100, least=0.01)) if truth else 0.0
    return sd_of_log(spread), (log1p(-m), -log1p(-m)) if m else None, true


def _by_difference(sd: float | None, margin: str | None, truth: str | None) -> Scaled:
    if sd is None or not 0 < sd < 1e300:
        raise BadInput(f"--sd is {sd}; give a spread above nought.")
    m = abs(_plain(margin, "--margin")) if margin is not None else 0.0
    return sd, (-m, m) if m else None, _plain(truth, "--truth") if truth else 0.0


def _table(csv: Path | None, outcome: str | None, way: str | None, block: str | None) -> Table:
    if csv is None:
        raise BadInput("Name the table with --csv FILE, and its columns with --outcome COL and --way COL.")
    if outcome is None or way is None:
        raise BadInput("Name the columns: --outcome COL for what was counted, --way COL for the ways compared.")
    from chirr.desk.trial_tables import read_table

    with told_plainly():
        return read_table(csv, outcome, way, block)


def _question(
    margin: str, scale: str | None, alpha: float, against: str | None, *, paired: bool, less: bool, equal: bool
) -> Question:
    from chirr.desk.trial_answers import Margin, Question

    if scale not in (None, "ratio", "difference"):
        raise BadInput(f"--scale is {scale}; use ratio or difference.")
    in_share = margin.strip().endswith("%")
    amount = share(margin, "--margin", most=10) if in_share else _plain(margin, "--margin")
    if amount < 0:
        raise BadInput(f"--margin is {margin}; a margin cannot be below nought.")
    if scale == "ratio" and not in_share:
        if not 0 <= amount < 1:
            raise BadInput(f"--margin is {margin}; for a ratio write it in per cent, such as 10%.")
        in_share = True
    return Question(
        margin=Margin(amount=amount, share=in_share), ratio=None if scale is None else scale == "ratio",
        paired=paired, alpha=alpha, against=against, less_is_better=less, equal_spread=equal,
    )  # fmt: skip


def share(text: str, option: str, *, most: float, least: float = 0.0) -> float:
    """A share from '10%' or '0.1'."""
    bare = text.strip()
    value = _plain(bare.rstrip("% \u00a0"), option, text) / (100 if bare.endswith("%") else 1)
    if not least <= value <= most:
        raise BadInput(f"{option} is {text}; give a share between {100 * least:g}% and {100 * most:g}%.")
    return value


def _plain(text: str, option: str, shown: str | None = None) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e300:
        raise BadInput(f"{option} is {shown or text}; write a number, such as 12 or 10%.")
    return value


def tell_judgement(answer: dict[str, Any], outcome: str) -> None:
    """A judgement in words."""
    rows = [(w["way"], str(w["n"]), _figure(w["mean"]), _figure(w["sd"])) for w in answer["ways"]]
    table(outcome.capitalize(), ("way", "n", "mean", "spread"), rows, right=("n", "mean", "spread"))
    pairs = answer.get("pairs", [answer] if "compared" in answer else [])
    for p in pairs if len(pairs) > 1 else []:
        say(f"{p['compared'][0]} against {p['compared'][1]}: {p['verdict']}.")
    say(f"Verdict: {answer['verdict']}.")
    if len(pairs) == 1 and "chance_first_is_better" in pairs[0]:
        p = pairs[0]
        say(f"The chance that {p['compared'][0]} is the better one: {in_chances(p['chance_first_is_better'])}.")
        say(f"Judged by {p['method']}.")
        if "by_ranks" in p:
            agree = (p["by_ranks"]["p"] < p["alpha"]) == (p["difference_test"]["p"] < p["alpha"])
            say(f"A look by ranks {'says the same' if agree else 'says otherwise'} (p {p['by_ranks']['p']:.2g}).")
        if "by_reshuffling" in p:
            say(f"Reshuffling the ways within blocks gives p {p['by_reshuffling']['p']:.2g}.")
    for remark in dict.fromkeys([*answer["remarks"], *(x for p in pairs for x in p["remarks"])]):
        sorry(remark)


def tell_look(answer: dict[str, Any]) -> None:
    """A look in words."""
    rows = [(w["way"], str(w["n"]), _figure(w["mean"]), _figure(w["sd"])) for w in answer["ways"]]
    table("So far", ("way", "n", "mean", "spread"), rows, right=("n", "mean", "spread"))
    ends = answer.get("always_interval")
    if ends is not None:
        low, high = (_figure(x) if x is not None else "no end yet" for x in ends)
        say(f"{'Ratio' if 'ratio' in answer else 'Difference'}, however often looked at: {low} to {high}.")
    if "planned_look" in answer:
        p = answer["planned_look"]
        share, z = in_chances(p["share"]), abs(p["z"])
        which = "the last planned look" if p["number"] == p["of"] else f"planned look {p['number']} of {p['of']}"
        say(f"At {share} of the plan |z| is {z:.2f}; as {which} it needs {p['bound']:.2f}.")
    say(f"Verdict: {answer['verdict']}.")
    for remark in answer.get("remarks", ()):
        sorry(remark)


def _tell_power(a: dict[str, Any]) -> None:
    unit = {"parallel": "of each way", "paired": "pairs", "crossover": "bins in all"}[a["design"]]
    size = ""
    if "difference" in a:
        size = (
            f"a true ratio of {100 * a['difference']:.3g} %"
            if a["scale"] == "ratio"
            else f"a true {a['difference']:.4g}"
        )
    if "n" in a:
        if "equivalence_power" in a:
            say(f"With {a['n']} {unit}: chance to show them as good {in_chances(a['equivalence_power'])}.")
        if "difference_power" in a:
            say(f"With {a['n']} {unit}: chance to find {size} {in_chances(a['difference_power'])}.")
        return
    if "margin" in a:
        n = a["equivalence_n"]
        low, high = a["margin"]
        past = "They cannot be shown as good: the truth is at or past the margin."
        if low < a["truth"] < high:
            past = "It takes more than a million to show them as good."
        say(f"To show them as good: {n:,} {unit}." if n else past)
    n = a["difference_n"]
    say(f"To find {size}: {n:,} {unit}." if n else f"It takes more than a million to find {size}.")


def _from_book(name: str, csv: Path | None, *, json: bool) -> None:
    if csv is not None:
        raise BadInput(f"Give either the trial {name} or --csv, not both.")
    open_farm()
    from chirr.desk.trials import judged_trial

    try:
        answer = judged_trial(name)
    except LookupError as unknown:
        raise BadInput(str(unknown.args[0])) from unknown
    if json:
        say_json(answer)
        return
    rows = [(b["way"], str(b["n"]), str(b["bins"]), b["first"] or "", b["last"] or "") for b in answer["balance"]]
    table(f"Trial {name}, in so far", ("way", "clutches", "bins", "first", "last"), rows, right=("clutches", "bins"))
    tell_judgement({"remarks": [], **answer}, answer["unit"])
    for p in answer["pairs"]:
        if p.get("always_interval") is not None:
            low, high = (_figure(x) if x is not None else "no end yet" for x in p["always_interval"])
            say(f"However often looked at, the ratio lies within about {low} to {high}.")
    for stray in answer["strays"][:STRAYS]:
        sorry(f"Not as drawn: {stray}.")
    if len(answer["strays"]) > STRAYS:
        sorry(f"... and {len(answer['strays']) - STRAYS} more that were not as drawn.")


def _figure(value: float | None) -> str:
    return "?" if value is None else f"{value:.4g}" if abs(value) < 1000 else f"{value:,.0f}"


def in_chances(value: float) -> str:
    """A chance in per cent, never a full one."""
    return f"{100 * value:.0f} %" if 0.005 < value < 0.995 else "over 99 %" if value > 0.5 else "under 1 %"
