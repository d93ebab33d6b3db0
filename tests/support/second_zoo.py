"""Forty more layouts, thought out after the reader was settled on the first forty.

None is the layout of any product. Each holds the same invented cook as `log_zoo`.
"""

from __future__ import annotations

import numpy as np

from support.log_zoo import (
    FLAT_C,
    PIT_C,
    POINT_C,
    ROWS,
    SECONDS,
    Animal,
    _f,
    _stamps,
    _table,
)

ONE_MEAT = ("Meat F", "Meat F and min", "swapped names")


def second_zoo() -> list[Animal]:
    """Return the forty layouts."""
    iso = _stamps("%Y-%m-%dT%H:%M:%S")
    c = [PIT_C, FLAT_C, POINT_C]
    f = [_f(values) for values in c]
    found: dict[str, str | bytes] = {}
    found["t alone"] = _table(["t", "pit °C", "flat °C", "point °C"], [SECONDS, *c])
    found["ts iso"] = _table(["ts", "pit °C", "flat °C", "point °C"], [iso, *c])
    found["minutes in brackets"] = _table(
        ["T (min)", "Pit (C)", "Flat (C)", "Point (C)"], [SECONDS / 60, *c]
    )
    found["Meat F"] = _table(["Time", "Pit F", "Meat F"], [iso, f[0], f[1]])
    found["Meat F and min"] = _table(["min", "Pit F", "Meat F"], [SECONDS / 60, f[0], f[1]])
    found["a title with semicolons"] = _table(
        ["Zeit", "Garraum °C", "Kern 1 °C", "Kern 2 °C"],
        [_stamps("%H:%M:%S"), *c],
        ";",
        before="Protokoll vom 2. Mai;;;\n",
        comma=True,
    )
    found["a title with numbers"] = _table(
        ["time_s", "pit_c", "flat_c", "point_c"], [SECONDS, *c], before="Run 42, 3 probes\n"
    )
    found["tenths in brackets"] = _table(
        ["time", "pit [1/10 °C]", "flat [1/10 °C]", "point [1/10 °C]"],
        [iso, *[[f"{round(v * 10):d}" for v in x] for x in c]],
    )
    found["tenths of °F unsaid"] = _table(
        ["time_s", "pit (°F)", "flat (°F)", "point (°F)"],
        [SECONDS, *[[f"{round(v * 10):d}" for v in x] for x in f]],
    )
    found["hundredths unsaid"] = _table(
        ["time_s", "pit (°C)", "flat (°C)", "point (°C)"],
        [SECONDS, *[[f"{round(v * 100):d}" for v in x] for x in c]],
    )
    z = FLAT_C.copy()
    z[:15] = 0.0
    z[100:104] = 0.0
    found["0 °C for no probe"] = _table(
        ["time", "pit °C", "flat °C", "point °C"], [iso, PIT_C, z, POINT_C]
    )
    zf = _f(FLAT_C).copy()
    zf[:15] = 32.0
    found["32 °F at first"] = _table(
        ["time", "pit °F", "flat °F", "point °F"], [iso, f[0], zf, f[2]]
    )
    zf = _f(FLAT_C).copy()
    zf[:15] = 0.0
    found["0 °F for no probe"] = _table(
        ["time", "pit °F", "flat °F", "point °F"], [iso, f[0], zf, f[2]]
    )
    rows = []
    for i, s in enumerate(iso):
        for k, v in (("pit", PIT_C[i]), ("flat", FLAT_C[i]), ("point", POINT_C[i])):
            rows.append((s, k, v, "C"))
    found["long with a unit column"] = _table(
        ["time", "channel", "value", "unit"], [list(x) for x in zip(*rows, strict=True)]
    )
    rows = []
    for i, s in enumerate(iso):
        for k, v in ((1, PIT_C[i]), (2, FLAT_C[i]), (3, POINT_C[i])):
            rows.append((s, str(k), v))
    found["long with numbers"] = _table(
        ["time", "ch", "temp_c"], [list(x) for x in zip(*rows, strict=True)]
    )
    found["restart elapsed"] = _table(
        ["time_s", "pit_c", "flat_c", "point_c"],
        [np.concatenate((SECONDS[:90], SECONDS[:90])), *c],
    )
    found["restart header"] = (
        "time_s,pit_c,flat_c,point_c\n"
        + "".join(f"{SECONDS[i]:g},{c[0][i]},{c[1][i]},{c[2][i]}\n" for i in range(90))
        + "time_s,pit_c,flat_c,point_c\n"
        + "".join(
            f"{SECONDS[i]:g},{c[0][90 + i]},{c[1][90 + i]},{c[2][90 + i]}\n" for i in range(90)
        )
    )
    found["swapped names"] = _table(["time", "meat °C", "pit °C"], [iso, PIT_C, FLAT_C])
    found["pipe"] = _table(["time", "pit °C", "flat °C", "point °C"], [iso, *c], "|")
    found["day first"] = _table(
        ["date time", "pit °C", "flat °C", "point °C"], [_stamps("%d/%m/%Y %H:%M:%S"), *c]
    )
    found["month first"] = _table(
        ["Date/Time", "Pit °F", "Flat °F", "Point °F"], [_stamps("%m/%d/%Y %I:%M %p"), *f]
    )
    found["a number sign for a header"] = _table(
        ["#", "time", "pit °C", "flat °C", "point °C"], [[str(i) for i in range(ROWS)], iso, *c]
    )
    found["finnish"] = _table(
        ["Aika", "Uuni °C", "Liha 1 °C", "Liha 2 °C"], [_stamps("%H:%M:%S"), *c], ";"
    )
    found["polish"] = _table(
        ["Czas", "Piec °C", "Mięso 1 °C", "Mięso 2 °C"],
        [_stamps("%H:%M:%S"), *c],
        ";",
        comma=True,
    )
    found["portuguese"] = _table(
        ["Hora", "Forno °C", "Carne 1 °C", "Carne 2 °C"],
        [_stamps("%H:%M:%S"), *c],
        ";",
        comma=True,
    )
    found["norwegian"] = _table(
        ["Tid", "Ovn °C", "Kjøtt 1 °C", "Kjøtt 2 °C"],
        [_stamps("%H:%M:%S"), *c],
        ";",
        comma=True,
    )
    found["kelvin"] = _table(
        ["time_s", "pit (K)", "flat (K)", "point (K)"], [SECONDS, *[x + 273.15 for x in c]]
    )
    found["mixed units"] = _table(
        ["time", "pit °F", "flat °C", "point °C"], [iso, f[0], c[1], c[2]]
    )
    found["the unit in a title"] = _table(
        ["time", "pit", "flat", "point"], [iso, *f], before="Temperatures in Fahrenheit\n"
    )
    found["quoted"] = '"Time","Pit, °C","Flat, °C","Point, °C"\n' + "".join(
        f'"{iso[i]}","{c[0][i]}","{c[1][i]}","{c[2][i]}"\n' for i in range(ROWS)
    )
    found["footer"] = _table(
        ["time", "pit °C", "flat °C", "point °C"],
        [iso, *c],
        after="Average,111,60,50\nEnd of log\n",
    )
    found["days and a clock"] = _table(
        ["elapsed", "pit °C", "flat °C", "point °C"],
        [
            [
                f"{int(s // 86400)}d {int(s // 3600) % 24:02d}:{int(s // 60) % 60:02d}:00"
                for s in SECONDS
            ],
            *c,
        ],
    )
    found["minutes and seconds"] = _table(
        ["elapsed", "pit °C", "flat °C", "point °C"],
        [[f"{int(s // 60)}:{int(s) % 60:02d}" for s in SECONDS], *c],
    )
    found["hours spelt out"] = _table(
        ["elapsed", "pit °C", "flat °C", "point °C"],
        [[f"{int(s // 3600)}h{int(s // 60) % 60:02d}m{int(s) % 60:02d}s" for s in SECONDS], *c],
    )
    found["fractions of a day"] = _table(
        ["days", "pit °C", "flat °C", "point °C"], [[f"{s / 86400:.8f}" for s in SECONDS], *c]
    )
    found["degC behind a bar"] = _table(
        ["Timestamp", "Temp_Pit_degC", "Temp_Meat1_degC", "Temp_Meat2_degC"], [iso, *c]
    )
    found["dashes"] = _table(
        ["time", "pit °C", "flat °C", "point °C", "probe 4 °C"], [iso, *c, ["---"] * ROWS]
    )
    found["utf16"] = _table(["time", "pit °C", "flat °C", "point °C"], [iso, *c], "\t").encode(
        "utf-16"
    )
    found["a set point"] = _table(
        ["time", "set °C", "pit °C", "flat °C", "point °C"], [iso, np.full(ROWS, 110.0), *c]
    )
    found["cook and food"] = _table(
        ["time", "Cook Temp C", "Food 1 Temp C", "Food 2 Temp C"], [iso, *c]
    )
    return [
        Animal(
            name,
            "log.csv",
            text if isinstance(text, bytes) else text.encode(),
            (FLAT_C,) if name in ONE_MEAT else (FLAT_C, POINT_C),
        )
        for name, text in found.items()
    ]
