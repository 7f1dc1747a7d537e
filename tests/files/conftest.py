"""A small sound farm as texts, to be spoilt one line at a time."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

FARM = """\
name = "Larch Row"
species = "gryllus-bimaculatus"
timezone = "America/New_York"
currency = "USD"
wage_per_hour = 17.5
swap_days = ["mon", "wed", "fri"]
feed_days = 2
substrate_cycles = 3
window = "north light"

[[size_class]]
name = "small"
from_mg = 0

[[size_class]]
name = "large"
from_mg = 300
"""
ROOMS = "room,set_temperature_c,set_humidity_pct\nloft,30,60\nbarn,28.5,\n"
BINS = """\
bin,room,stack,level,duty,floor_cm2,hides_cm2
L1,loft,1,1,breeding,8000,20000
L2,loft,1,2,nursery,8000,9000
K1,barn,1,1,grow-out,8000,26000
"""
TRAYS = "tray_type,length_cm,width_cm,depth_cm,clear_side_cm\nflat,30,20,5,\n"
PEOPLE = "person,role\nida,owner\nmoss,hand\n"
ENTRIES = """\
id,at,person,deed,bin,lot,clutch,tray_type,quantity,unit,stage,age_days,cv,sample,minutes,note,replaces
00000000-0000-4000-8000-000000000001,2030-05-01T08:00,ida,stock,L1,Q1,,,900,crickets,adult,4,,,,,
00000000-0000-4000-8000-000000000002,2030-05-01T08:10,moss,lay,L1,Q1,E1,flat,,,,,,,,,
00000000-0000-4000-8000-000000000003,2030-05-01T08:20,moss,feed,L1,,,,150,g,,,,,1.5,,
"""
READINGS = "at,room,level,temperature_c,humidity_pct\n2030-05-01T06:00,barn,,27,\n2030-05-01T06:00,loft,1,29.5,61\n"

SOUND = {
    "farm.toml": FARM,
    "rooms.csv": ROOMS,
    "bins.csv": BINS,
    "tray_types.csv": TRAYS,
    "people.csv": PEOPLE,
    "entries.csv": ENTRIES,
    "readings.csv": READINGS,
}

Put = Callable[..., Path]


@pytest.fixture
def put(tmp_path: Path) -> Put:
    """Writes the small farm into a folder, with other contents for some files and without others (None)."""

    def write(changed: dict[str, str | bytes | None] | None = None) -> Path:
        folder = tmp_path / "larch"
        folder.mkdir(exist_ok=True)
        for name, text in {**SOUND, **(changed or {})}.items():
            if text is not None:
                (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
        return folder

    return write


@pytest.fixture
def sound() -> dict[str, str]:
    """The small farm's files by name."""
    return dict(SOUND)
