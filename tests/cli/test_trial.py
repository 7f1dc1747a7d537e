"""`chirr trial` as a shell sees it: any table judged, plain sentences on bad input, and trials of a farm's own book."""

from __future__ import annotations

import json
import math
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from chirr.cli import main

CONTRACT = ("ways", "interval", "equivalence", "difference_test", "verdict")


@pytest.fixture
def chirr(tmp_path, monkeypatch, capsys):
    """Runs the command within this process, in an empty folder: (status, stdout, stderr)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHIRR_FARM", str(tmp_path / "none.chirr"))

    def run(*words):
        monkeypatch.setattr(sys, "argv", ["chirr", *map(str, words)])
        try:
            main()
            status = 0
        except SystemExit as end:
            status = end.code or 0
        told = capsys.readouterr()
        return status, told.out, told.err

    return run


@pytest.fixture
def trays(tmp_path):
    """Two tray types in eight bins: minutes less than half, eggs about the same."""
    draw = random.Random(4)  # noqa: S311 - made-up data
    rows = ["bin,tray,eggs,minutes,room"]
    for i in range(64):
        tray = "short" if (i // 8 + i) % 2 else "long"
        eggs = round(math.exp(draw.gauss(8, 0.12)))
        minutes = math.exp(draw.gauss(0.5 if tray == "short" else 1.4, 0.2))
        rows.append(f"B{i % 8},{tray},{eggs},{minutes:.2f},{'R1' if tray == 'short' else 'R2'}")
    path = tmp_path / "trays.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def sentence(told, status=2):
    """The one sentence that bad input is answered with."""
    assert told[0] == status, told
    assert told[1] == ""
    assert len(told[2].strip().splitlines()) == 1, told[2]
    assert "Traceback" not in told[2]
    return told[2].strip()


def test_the_json_of_a_judgement_has_the_keys_of_the_contract(chirr, trays):
    status, out, _ = chirr("trial", "judge", "--csv", trays, "--outcome", "eggs", "--way", "tray", "--block", "bin",
                           "--margin", "10%", "--json")  # fmt: skip
    answer = json.loads(out)
    assert status == 0
    assert all(key in answer for key in CONTRACT)
    assert "ratio" in answer
    assert [set(w) for w in answer["ways"]] == [{"way", "n", "mean", "sd"}] * 2
    assert {"p_lower", "p_upper", "equivalent"} <= set(answer["equivalence"])
    assert answer["equivalence"]["equivalent"] is True
    assert answer["verdict"].startswith("as good within your margin")
    assert 0.9 < answer["interval"][0] < answer["ratio"] < answer["interval"][1] < 1 / 0.9


def test_the_scale_of_differences_has_a_difference(chirr, trays):
    _, out, _ = chirr("trial", "judge", "--csv", trays, "--outcome", "minutes", "--way", "tray", "--scale",
                      "difference", "--margin", "0.5", "--less-is-better", "--json")  # fmt: skip
    answer = json.loads(out)
    assert "difference" in answer
    assert "ratio" not in answer
    assert answer["margin"] == [-0.5, 0.5]
    short_first = answer["compared"][0] == "short"
    assert answer["verdict"].startswith("better" if short_first else "worse")


def test_a_judgement_in_words_names_verdict_chance_and_method(chirr, trays):
    status, out, err = chirr("trial", "judge", "--csv", trays, "--outcome", "minutes", "--way", "tray", "--against",
                             "long", "--less-is-better")  # fmt: skip
    assert status == 0
    assert "Verdict: better: short gives" in out
    assert "The chance that short is the better one: over 99 %." in out
    assert "A look by ranks says the same" in out
    assert "Every room had one way only" in err, "ways that go hand in hand with rooms"


def test_a_look_may_be_taken_at_any_time(chirr, trays):
    status, out, _ = chirr(
        "trial", "look", "--csv", trays, "--outcome", "minutes", "--way", "tray", "--planned", "60", "--json"
    )
    answer = json.loads(out)
    assert status == 0
    assert answer["stop"] is True
    assert answer["planned_look"]["share"] == pytest.approx(32 / 60)
    assert answer["always_interval"][0] < answer["ratio"] < answer["always_interval"][1]


def test_power_and_sizes_of_any_table(chirr):
    _, out, _ = chirr(
        "trial", "power", "--margin", "20%", "--cv", "20%", "--design", "crossover", "--truth", "95%", "--json"
    )
    assert json.loads(out)["equivalence_n"] == 20, "computed elsewhere: tests/outside/test_trial_equivalence.py"
    _, out, _ = chirr("trial", "power", "--sd", "1", "--truth", "0.5")
    assert out == "To find a true 0.5: 64 of each way.\n"
    _, out, _ = chirr("trial", "power", "--cv", "40%", "--margin", "10%", "--n", "30")
    assert "With 30 of each way: chance to show them as good under 1 %." in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--csv", "none.csv", "--outcome", "a", "--way", "b"), "There is no file none.csv."),
        (("--outcome", "a", "--way", "b"), "Name the table with --csv FILE"),
        (("--csv", "t.csv", "--outcome", "eggs"), "Name the columns"),
        (
            ("--csv", "t.csv", "--outcome", "nests", "--way", "tray"),
            "t.csv has no column nests; it has bin, tray, eggs.",
        ),
        (("--csv", "t.csv", "--outcome", "bin", "--way", "tray"), "t.csv, line 2: bin is 'B1', which is not a number."),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "eggs"), "three different columns"),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--margin", "lots"), "--margin is lots"),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--margin", "-5"), "cannot be below nought"),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--margin", "150%"), "leaves nothing to lose"),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--scale", "log"), "use ratio or difference"),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--alpha", "1"), "error of 1 will not do"),
        (("--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--against", "tub"), "no way called 'tub'"),
    ],
)
def test_bad_input_gets_one_plain_sentence(chirr, tmp_path, words, says):
    (tmp_path / "t.csv").write_text("bin,tray,eggs\nB1,short,12\nB2,long,15\nB3,short,11\n", encoding="utf-8")
    assert says in sentence(chirr("trial", "judge", *words))


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("a,5\na,6\n", "nothing to compare it with"),
        ("a,0\na,0\nb,0\nb,0\n", "every value is nought"),
        ("a,5\nb,6\n", "too few values"),
        ("a,500\nb,600\n", "at least two values"),
        ("a,5\na,5\nb,5\nb,5\n", "do not vary"),
    ],
)
def test_what_cannot_be_concluded_is_said_and_what_can_is_computed(chirr, tmp_path, rows, says):
    (tmp_path / "t.csv").write_text("tray,eggs\n" + rows, encoding="utf-8")
    status, out, _ = chirr("trial", "judge", "--csv", "t.csv", "--outcome", "eggs", "--way", "tray", "--json")
    answer = json.loads(out)
    assert status == 0
    assert says in answer["verdict"].lower()
    assert answer["ways"][0]["n"] in (1, 2)
    assert answer["equivalence"]["equivalent"] is None


@pytest.mark.parametrize(
    ("rows", "words", "says"),
    [
        ("a,5\nb,many\n", (), "t.csv, line 3: eggs is 'many', which is not a number."),
        ("a,5\nb,inf\n", (), "t.csv, line 3: eggs is 'inf', which is not a number."),
        ("a,1e308\nb,5\n", (), "line 2: eggs is '1e308', which nobody can have counted or measured."),
        ('a,"1,200"\nb,5\n', (), "line 2: eggs is '1,200', which is not a number."),
        ("a,\nb,NaN\n", (), "t.csv holds no outcome in column eggs."),
        ("a,5\n,6\n", (), "line 3: tray is empty"),
        ("a,5\na,-3\nb,4\nb,6\n", ("--scale", "ratio"), "A ratio needs values of nought or more"),
        ("a,5\na,6\na,7\nb,4\nb,6\n", ("--paired",), "There are 3 values of a but 2 of b"),
        ("".join(f"w{i},{i}\n" for i in range(40)), (), "more than 12 look like a column of numbers"),
        ("".join(f"{'ab'[i % 2]},{i % 9 + 100}\n" for i in range(200_002)), (), "more than 200,000 rows"),
    ],
)
def test_a_table_that_will_not_do_gets_one_plain_sentence(chirr, tmp_path, rows, words, says):
    (tmp_path / "t.csv").write_text("tray,eggs\n" + rows, encoding="utf-8")
    assert says in sentence(chirr("trial", "judge", "--csv", "t.csv", "--outcome", "eggs", "--way", "tray", *words))


def test_many_rows_and_blocks_are_judged_or_refused_and_never_run_out_of_memory(chirr, tmp_path):
    draw = random.Random(2)  # noqa: S311 - made-up data
    lines = "".join(f"{'ab'[i % 2]},{draw.lognormvariate(7, 0.5):.1f},{i // 4}\n" for i in range(20_000))
    (tmp_path / "t.csv").write_text("tray,eggs,bin\n" + lines, encoding="utf-8")
    words = ("trial", "judge", "--csv", "t.csv", "--outcome", "eggs", "--way", "tray")
    status, out, err = chirr(*words)
    assert status == 0
    assert "as good within your margin" in out
    assert "No look by ranks" in err
    assert "5,000 blocks in 20,000 rows" in sentence(chirr(*words, "--block", "bin"))
    assert chirr(*words, "--block", "bin", "--paired")[0] == 0


def test_one_value_beside_several_is_judged_as_far_as_it_goes(chirr, tmp_path):
    (tmp_path / "t.csv").write_text("tray,eggs\na,5\nb\na,7,9,9\nb,4\na,3\n", encoding="utf-8")
    status, out, err = chirr("trial", "judge", "--csv", "t.csv", "--outcome", "eggs", "--way", "tray")
    assert status == 0
    assert "not known yet" in out
    assert "b has 1" in err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("power",), "Give the spread either with --cv"),
        (("power", "--cv", "40%"), "Give a margin with --margin"),
        (("power", "--cv", "40%", "--margin", "150%"), "give a share between 0% and 99%"),
        (("power", "--cv", "nan", "--margin", "10%"), "--cv is nan"),
        (("power", "--cv", "40%", "--margin", "10%", "--n", "1"), "--n is 1"),
        (("power", "--cv", "40%", "--margin", "10%", "--n", "9" * 18), "a thousand million"),
        (("power", "--cv", "40%", "--margin", "10%", "--n", "20", "--alpha", "0.5"), "An error of 0.5 will not do"),
        (("power", "--cv", "40%", "--margin", "10%", "--power", "nan"), "A power of nan will not do"),
        (("plan", "--ways", "a,b", "--margin", "0"), "A plan needs a margin"),
        (("plan", "--ways", "a,b", "--bins", "1"), "2 to 10,000 bins"),
        (("plan", "--ways", "a,b", "--clutches", "nan"), "0.1 to 100 clutches"),
        (("plan", "--ways", "a,b", "--outcome", "love"), "love is not an outcome"),
        (("decide", "--minutes-saved", "1,2,3", "--wage", "nan"), "must be plain numbers"),
        (("decide", "--minutes-saved", "1,2,inf"), "from below its middle"),
        (("look", "--csv", "t.csv", "--outcome", "a", "--way", "b", "--planned", "40,20"), "rising whole numbers"),
    ],
)
def test_power_plans_and_looks_refuse_bad_options_in_one_sentence(chirr, words, says):
    assert says in sentence(chirr("trial", *words))


def test_a_size_beyond_a_million_is_not_called_past_the_margin(chirr):
    _, out, _ = chirr("trial", "power", "--cv", "40%", "--margin", "1e-9")
    assert "It takes more than a million to show them as good." in out


def test_tables_as_spreadsheets_write_them_are_read(chirr, tmp_path):
    text = (
        "\ufeffart;eier\n" + "".join(f"{'kurz' if i % 2 else 'lang'};{i % 5 + 1},5\n" for i in range(20)) + "kurz;\n\n"
    )
    (tmp_path / "t.csv").write_text(text, encoding="utf-8")
    status, out, _ = chirr("trial", "judge", "--csv", "t.csv", "--outcome", "eier", "--way", "art", "--json")
    answer = json.loads(out)
    assert status == 0
    assert answer["ways"][0]["mean"] == pytest.approx(3.5)
    assert "1 row without an outcome left out." in answer["remarks"]


def test_three_ways_are_judged_in_all_pairs(chirr, tmp_path):
    draw = random.Random(1)  # noqa: S311 - made-up data
    text = "".join(f"{'abc'[i % 3]},{math.exp(draw.gauss(3 + (i % 3 == 2), 0.1)):.3f}\n" for i in range(60))
    (tmp_path / "t.csv").write_text("way,kg\n" + text, encoding="utf-8")
    _, out, _ = chirr("trial", "judge", "--csv", "t.csv", "--outcome", "kg", "--way", "way", "--json")
    answer = json.loads(out)
    assert [p["compared"] for p in answer["pairs"]] == [["a", "b"], ["a", "c"], ["b", "c"]]
    assert answer["difference_test"]["p"] < 1e-10
    assert answer["equivalence"]["equivalent"] is False


def test_a_plan_without_a_farm_says_that_it_rests_on_usual_spreads(chirr):
    status, out, _ = chirr("trial", "plan", "--ways", "short,long", "--margin", "20%")
    assert status == 0
    assert "usual spreads, as no farm was asked" in out
    assert "each bin has every way in turn" in out
    assert sentence(chirr("trial", "plan", "--ways", "short")).startswith("Name at least two different ways")


def test_a_decision_weighs_minutes_against_eggs(chirr):
    words = (
        "trial",
        "decide",
        "--ratio",
        "92%,98%,104%",
        "--minutes-saved",
        "1.5,2.1,2.7",
        "--trays",
        "60",
        "--wage",
        "15",
    )
    _, out, _ = chirr(*words, "--json")
    answer = json.loads(out)
    assert answer["gain_per_week"][3] == pytest.approx(60 * 2.1 / 60 * 15, rel=0.02), (
        "space is short: eggs are worth nothing"
    )
    assert answer["hours_saved_per_week"][3] == pytest.approx(2.1, rel=0.02)
    _, out, _ = chirr(*words, "--eggs", "3000", "--worth-per-1000", "10", "--clutch-cost", "1", "--json")
    dear = json.loads(out)
    assert dear["chance_it_pays"] < answer["chance_it_pays"]
    assert dear["try_further"]["clutches_of_each"] > 0
    assert "separated by commas" in sentence(chirr("trial", "decide", "--ratio", "98%"))
    assert "from below its middle" in sentence(chirr("trial", "decide", "--ratio", "98%,92%,104%"))


def test_asking_for_help_loads_nothing_heavy():
    code = (
        "import sys; sys.argv = ['chirr', 'trial', 'judge', '--help']\n"
        "from chirr.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        "bad = {'numpy', 'scipy', 'django', 'msgspec'} & set(sys.modules); print(sorted(bad), file=sys.stderr)"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=os.environ.copy()
    )
    assert run.stderr.strip() == "[]"
    assert "--margin" in run.stdout
    assert Path(sys.executable).exists()
