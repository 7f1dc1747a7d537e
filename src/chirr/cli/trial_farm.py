"""Trials of the farm itself: plan one and draw its bins, note ways, list, look at records, decide."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from chirr.cli import trial
from chirr.cli.farm import farm_path, open_farm
from chirr.cli.say import BadInput, Trouble, amount, say, say_json, sorry, table
from chirr.cli.trial import Alpha, Json, in_chances, share, tell_judgement, told_plainly

if TYPE_CHECKING:
    from chirr.records import Person

app = trial.app

What = Annotated[
    str,
    typer.Option(
        "--by", metavar="WHAT", help="What tells the ways apart: tray_type, substrate, cycle, days_in or mark."
    ),
]
Counted = Annotated[str, typer.Option(metavar="WHAT", help="eggs, pinheads, survivors, kg, kg_per_clutch, minutes.")]
Loss = Annotated[str, typer.Option(metavar="M", help="How big a loss would matter, such as 10%.")]
Who = Annotated[str | None, typer.Option(metavar="NAME", help="Who writes it; without it, the first owner.")]
KINDS = {"apart": "each bin keeps one way", "crossing": "each bin has every way in turn"}


@app.command(short_help="How many bins for how many weeks, and the draw.")
def plan(
    ways: Annotated[str, typer.Option(metavar="A,B", help="The ways, the present one last, such as short,long.")] = "",
    by: What = "tray_type",
    outcome: Counted = "eggs",
    margin: Loss = "10%",
    alpha: Alpha = 0.05,
    power: Annotated[float, typer.Option(metavar="P", help="How sure to be of an answer.")] = 0.8,
    bins: Annotated[int | None, typer.Option(metavar="N", help="Breeding bins to use; else those there are.")] = None,
    clutches: Annotated[
        float | None, typer.Option(metavar="N", help="Clutches from a bin in a week; else as the farm swaps.")
    ] = None,
    keep: Annotated[
        str | None, typer.Option(metavar="NAME", help="Draw the bins by lot, and write it in the book.")
    ] = None,
    kind: Annotated[str, typer.Option(metavar="apart|crossing", help="With --keep: which of the two plans.")] = "apart",
    seed: Annotated[int | None, typer.Option(help="With --keep: draw the same lots again.")] = None,
    person: Who = None,
    json: Json = False,
) -> None:
    """Plan a trial from this farm's own spread, or from usual ones where there is no farm yet."""
    there = farm_path().exists()
    if there:
        open_farm()
    elif keep:
        open_farm()  # says that there is none
    with told_plainly():
        from chirr.desk import trial_sizes

        ground = trial_sizes.Ground()
        if there:
            from chirr.desk import trial_plans

            ground = trial_plans.ground(outcome)
        answer = trial_sizes.plan(
            [w.strip() for w in ways.split(",") if w.strip()], ground, by=by, outcome=outcome,
            margin=share(margin, "--margin", most=0.99), alpha=alpha, wanted=power, bins=bins,
            clutches_per_bin_week=clutches,
        )  # fmt: skip
        if keep:
            if kind not in KINDS:
                raise BadInput(f"--kind is {kind}; use apart or crossing.")
            made = trial_plans.keep(keep, answer, kind=kind, seed=seed, actor=_actor(person))
            import msgspec

            answer["kept"] = msgspec.to_builtins(made)
    if json:
        say_json(answer)
    else:
        _tell_plan(answer)


@app.command("list", short_help="The trials of the book.")
def list_(json: Json = False) -> None:
    """The trials of the book, with how far each has come."""
    open_farm()
    import msgspec

    from chirr.desk import trial_plans, trials

    found = trial_plans.all_trials()
    out = [msgspec.to_builtins(t) | {"balance": trials.so_far(t)} for t in found.values()]
    if json:
        say_json(out)
        return
    rows = [
        (
            t["trial"],
            " / ".join(t["ways"]),
            t["outcome"],
            t.get("start", ""),
            " / ".join(str(b["n"]) for b in t["balance"]),
        )
        for t in out
    ]
    table("Trials", ("trial", "ways", "outcome", "from", "in so far"), rows)
    if not rows:
        say("The book has no trial yet; plan one with 'chirr trial plan --ways A,B --keep NAME'.")


@app.command(short_help="Write down the way of a clutch or lot.")
def mark(
    way: Annotated[str, typer.Argument(metavar="WAY", help="The way, such as netted.")],
    clutch: Annotated[str | None, typer.Option(metavar="CLUTCH", help="The clutch that had it.")] = None,
    lot: Annotated[str | None, typer.Option(metavar="LOT", help="The lot that had it.")] = None,
    person: Who = None,
) -> None:
    """Write down which way a clutch or lot had, for what the book does not say otherwise: net, feed, density."""
    open_farm()
    with told_plainly():
        from chirr.desk.trial_plans import mark as write

        write(way, clutch=clutch, lot=lot, actor=_actor(person))
    say(f"{clutch or lot} is marked {way}.")


@app.command(short_help="What the record says of ways that nobody drew by lot.")
def records(
    by: What = "tray_type",
    outcome: Counted = "eggs",
    ways: Annotated[str, typer.Option(metavar="A,B", help="Only these, the present one last.")] = "",
    margin: Loss = "10%",
    alpha: Alpha = 0.05,
    json: Json = False,
) -> None:
    """Look at the ways in the record that nobody drew by lot, adjusted for bin, date, temperature and breeders' age."""
    open_farm()
    with told_plainly():
        from chirr.desk.trials import records as looked

        chosen = [w.strip() for w in ways.split(",") if w.strip()]
        answer = looked(by, outcome, margin=share(margin, "--margin", most=0.99), alpha=alpha, ways=chosen)
    if json:
        say_json(answer)
        return
    say(f"{answer['heading']}\n")
    tell_judgement({"remarks": [], **answer}, answer["unit"])


@app.command("limits", short_help="What limits the farm: space, labour, survival or eggs.")
def limits_(
    people: Annotated[
        int | None, typer.Option(metavar="N", help="How many work at the bins; else those who wrote entries of late.")
    ] = None,
    hours_each: Annotated[float, typer.Option(metavar="H", help="Hours a week that each has for it.")] = 20.0,
    json: Json = False,
) -> None:
    """What limits the farm now, measured in its book, and why: what more eggs, room or time would be worth."""
    open_farm()
    with told_plainly():
        from chirr.desk.belief import beliefs
        from chirr.desk.limits import what_limits

        try:
            answer = what_limits(people=people, hours_each=hours_each, beliefs=beliefs())
        except LookupError as none:
            raise Trouble(str(none.args[0])) from none
    if json:
        say_json(answer)
        return
    say(f"What limits the farm: {answer['limit']}; {answer['why']}.\n")
    word = {True: "tight", False: "not tight", None: "not known"}
    for x in answer["measures"]:
        say(f"{x['name'].capitalize()}: {word[x['tight']]}; {x['says']}.")


@app.command(short_help="What a new way is worth, and the chance that it pays.")
def decide(
    name: Annotated[
        str | None, typer.Argument(metavar="TRIAL", help="A trial of the book; else give the options.")
    ] = None,
    ratio: Annotated[
        str | None, typer.Option(metavar="LOW,MID,HIGH", help="Output of the new way, 92%,98%,104%.")
    ] = None,
    minutes_saved: Annotated[
        str | None, typer.Option(metavar="LOW,MID,HIGH", help="Minutes saved a tray, such as 1.5,2.1,2.7.")
    ] = None,
    trays: Annotated[float, typer.Option(metavar="N", help="Trays swapped in a week.")] = 40,
    wage: Annotated[float, typer.Option(metavar="MONEY", help="Wage per hour.")] = 15,
    eggs: Annotated[float, typer.Option(metavar="N", help="Eggs of a tray now.")] = 3000,
    worth_per_1000: Annotated[float, typer.Option(metavar="MONEY", help="What 1,000 more eggs are worth here.")] = 0,
    material: Annotated[float, typer.Option(metavar="MONEY", help="Material saved a tray.")] = 0,
    once: Annotated[float, typer.Option(metavar="MONEY", help="What changing over costs, once.")] = 0,
    weeks: Annotated[float, typer.Option(metavar="N", help="Weeks in which it must have paid.")] = 52,
    clutch_cost: Annotated[
        float | None, typer.Option(metavar="MONEY", help="What counting one more clutch costs: is it worth trying on?")
    ] = None,
    json: Json = False,
) -> None:
    """Money and hours a week, from a trial of the book or from middles with 90 % intervals."""
    if name is not None:
        open_farm()
    with told_plainly():
        from chirr.desk import trial_worth as desk

        if name is not None:
            from chirr.desk.belief import beliefs
            from chirr.desk.trial_stakes import decided_from_book

            try:
                answer = decided_from_book(
                    name,
                    worth_per_1000_eggs=worth_per_1000,
                    material_saved_per_tray=material,
                    once=once,
                    weeks=weeks,
                    beliefs=beliefs(),
                )
            except LookupError as unknown:
                raise BadInput(str(unknown.args[0])) from unknown
        else:
            stakes = desk.Stakes(
                trays_per_week=trays, wage_per_hour=wage, output_per_tray=eggs, worth_per_output=worth_per_1000 / 1000,
                material_saved_per_tray=material, once=once, weeks=weeks,
            )  # fmt: skip
            out, pace = _three(ratio, "--ratio", log=True), _three(minutes_saved, "--minutes-saved", log=False)
            answer = desk.decided(out, pace, stakes, cost_of_clutch=clutch_cost)
    if json:
        say_json(answer)
    else:
        _tell_decision(answer)


def _three(text: str | None, option: str, *, log: bool) -> Any:
    if text is None:
        return None
    parts = text.split(",")
    if len(parts) != 3:
        raise BadInput(f"{option} is {text}; give low, middle and high, separated by commas.")
    from chirr.desk.trial_worth import effect

    try:
        numbers = [share(p, option, most=100) if log else float(p) for p in parts]
    except ValueError as fault:
        raise BadInput(f"{option} is {text}; write numbers.") from fault
    return effect(numbers[1], numbers[0], numbers[2], log=log)


def _actor(name: str | None) -> Person:
    from chirr.desk import people

    everybody = [p for p, _ in people.everybody()]
    wanted = [p for p in everybody if p.person == name] if name else [p for p in everybody if p.role == "owner"]
    if not wanted:
        raise Trouble(
            f"Nobody here is called {name}." if name else "The farm has no owner yet; add one with chirr person."
        )
    return wanted[0]


def _tell_plan(a: dict[str, Any]) -> None:
    spread = a["spread"]
    say(f"{' against '.join(a['ways'])}, {a['outcome']}; margin {100 * (1 - a['margin'][0]):.3g} %; {a['bins']} bins.")
    between = f"{spread['between_bins']:.2f} between bins, {spread['between_clutches']:.2f} between clutches"
    say(f"Spread of logs: {between}; {spread['from']}.")
    rows = [
        (KINDS[o["kind"]], str(o["bins"]), str(o["weeks"]) + ("" if o["enough"] else " and more"), str(o["clutches"]),
         *(f"{100 * o[k]:.0f} %" for k in ("equivalence_power", "difference_power", "smallest_margin")))
        for o in a["options"]
    ]  # fmt: skip
    columns = ("plan", "bins", "weeks", "clutches", "as good", "differs", "margin it can show")
    say()
    table("Plans", columns, rows, right=columns[1:])
    say(a["advice"])
    if "kept" in a:
        say()
        drawn = [(b, " then ".join(w)) for b, w in a["kept"]["bins"].items()]
        table(f"Drawn by lot for {a['kept']['trial']}, from {a['kept']['start']}", ("bin", "way"), drawn)


def _tell_decision(a: dict[str, Any]) -> None:
    q = a["gain_per_week"]
    money = f" {a['currency']}" if a.get("currency") else ""
    if "limit_why" in a:
        say(f"{a['new']} in place of {a['present']}. What limits this farm: {a['limit']}; {a['limit_why']}.")
    say(f"Gain a week: {q[3]:,.2f}{money} ({q[1]:,.2f} to {q[5]:,.2f} in 8 of 10).")
    h = a["hours_saved_per_week"]
    say(f"Hours saved a week: {h[3]:.1f} ({h[1]:.1f} to {h[5]:.1f}).")
    say(f"The chance that it pays: {in_chances(a['chance_it_pays'])}.\n")
    most = max(b["share"] for b in a["picture"]) or 1.0
    for b in a["picture"][::2]:
        say(f"  {amount(b['from']):>8}  {'#' * round(30 * b['share'] / most)}")
    say()
    rows = []
    for x in a["what_if"]:
        of_1000 = x["what"] == "worth_per_output"
        what = "worth of 1,000" if of_1000 else x["what"].replace("_", " ")
        value = amount(x["value"] * (1000 if of_1000 else 1))
        gain = f"{x['middle']:,.2f} ({x['low']:,.2f} to {x['high']:,.2f})"
        rows.append((what, value, gain, in_chances(x["chance_it_pays"])))
    table("If it were otherwise", ("what", "value", "gain a week", "pays"), rows)
    say(f"Knowing for certain would be worth {amount(a['worth_of_certainty'])} over {a['weeks']:g} weeks.")
    if "try_further" in a:
        n = a["try_further"]["clutches_of_each"]
        told = (
            f"Trying on with about {n} more clutches of each is worth its cost."
            if n
            else "Trying on costs more than it tells."
        )
        say(told)
    sorry("Lifting and bending count too: a tray that is lighter may be worth more than its minutes.")
