"""What the words of a heading speak of, in the languages loggers write.

Word lists only propose. Where a heading speaks of meat and of something else at once, or
of another quantity beside a unit of temperature, its readings decide (`headings`).
"""

from __future__ import annotations

import re
from typing import cast

from coreward.logs.parts import Unit


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


MEAT = _set(
    "meat core food internal piece brisket beef chuck pork shoulder butt belly ham loin rib "
    "ribs chicken turkey breast thigh leg lamb salmon fish flat point roast joint cheek cheeks "
    "shank tongue duck goose hen wing wings drumstick neck clod sausage "
    "fleisch kern braten schulter nacken bauch brust keule huhn pute rind schwein lamm fisch "
    "schinken haxe rippen "
    "viande coeur cœur boeuf bœuf porc poulet dinde epaule épaule poitrine agneau "
    "carne pecho cerdo pollo pavo cordero paleta costilla nucleo núcleo centro corazon corazón "
    "cuore manzo maiale tacchino spalla petto agnello "
    "vlees varken kip kalkoen schouder "
    "kött kött kärna kød kjøtt kerne kjerne liha mięso mieso rdzeń maso jádro nötkött fläsk"
)
AIR = _set(
    "air pit grill grate smoker cooker oven chamber barrel kettle dome lid smokehouse "
    "luft garraum ofen kammer smokerraum grillraum rost deckel "
    "four fumoir chambre enceinte grille "
    "aire horno parrilla ahumador camara cámara "
    "forno aria griglia camera affumicatore "
    "lucht rookoven "
    "ugn ovn uuni ilma rök piec wędzarnia powietrze udírna trouba vzduch"
)
AMBIENT = _set(
    "ambient outdoor outdoors outside weather shade umgebung außen aussen draußen "
    "ambiante exterieur extérieur dehors ambiente exterior esterno esterna buiten omgeving "
    "ute utomhus ude ulkona otoczenie zewnątrz okolí venku"
)
PROBE = _set(
    "probe probes sensor sensors channel channels kanal ch tc thermocouple thermometer "
    "thermometre thermomètre sonde sonda sondes fühler fuehler messfühler input port voeler "
    "givare føler kanava anturi czujnik snímač"
)
QUANTITY = _set(
    "fan damper humidity rh battery signal rssi weight mass voltage pressure rate co2 "
    "lüfter luefter gebläse feuchte luftfeuchte feuchtigkeit gewicht "
    "akku batterie spannung ventilateur humidité humidite poids ventilador humedad peso "
    "ventola umidità umidita ventilator vochtigheid fläkt"
)
"""Other quantities; beside a unit of temperature such a word names a place."""

BESIDE_QUANTITY = _set(
    "output level percent pct position relative state status pid servo speed duty power "
    "value wert"
)
SETTING = _set(
    "set setpoint sp target goal alarm limit eta remaining estimate estimated predicted delta "
    "note notes comment event dew wet bulb board cpu chip electronics junction case device "
    "soll sollwert ziel grenze taupunkt consigne cible objetivo objectif setpunt doel minimum "
    "maximum min max mean average avg high low"
)
"""Temperatures of something that is neither meat nor air, and remarks."""

TIME = _set(
    "time timestamp datetime elapsed clock date duration seconds minutes hours "
    "zeit uhrzeit datum zeitpunkt zeitstempel laufzeit dauer sekunden minuten stunden "
    "heure horodatage durée duree hora tiempo fecha duración ora orario tijd tijdstip "
    "tid klokkeslæt tidspunkt aika kello czas godzina čas cas"
)
DATE = _set("date datum day fecha")
_TIME_ALONE = _set(
    "t ts s sec secs min mins h hr hrs ms temps tempo stamp when wann minuto minute "
    "second hour stunde std"
)
"""What stands for time only where nothing else is said."""

_STEMS = re.compile(r"(?:temperatur(?:en)?|temperatuur|temperature|temp|fühler|sonde)$")
_LETTERS = re.compile(r"[^\W\d_]+")
_GENERIC = _set(
    "temperature temperatures temp temps temperatur temperatuur température temperatura "
    "lämpötila teplota"
)
_OTHER_UNIT = re.compile(
    r"%\s*[\])]?$|[\[(]\s*(?:kg|g|lbs?|oz|v|mv|w|a|ma|hpa|pa|mbar|bar|rpm|dbm?|ppm|hz|ohm|m/s)"
    r"\s*[\])]|_(?:pct|percent|rpm|mv|kg|hpa|dbm)$",
    re.IGNORECASE,
)
_TENTHS = re.compile(
    r"(?<![\d.,])0[.,]1\s*[°º˚]|(?<!\d)1/10\b|[x×*]\s*10\b|\btenths?\b|\bzehntel|\bdeci",
    re.IGNORECASE,
)
_UNIT_MARKS: tuple[tuple[Unit, re.Pattern[str]], ...] = tuple(
    (
        cast(Unit, letter),
        re.compile(
            rf"[°º˚]\s*{letter}(?![a-z])|{sign}"
            rf"|(?<![a-z])deg(?:ree|rees)?[ _.]*{letter}(?![a-z])"
            rf"|(?<![a-z]){name}|[\[(]\s*{letter}\s*[\])]|[_,/]\s*{letter}$"
            rf"|\b(?:temp|temperature|temperatur)\s+{letter}$",
            re.IGNORECASE,
        ),
    )
    for letter, sign, name in (("C", "℃", "celsius"), ("F", "℉", "fahrenheit"))
)
_LETTER_LAST = re.compile(r".*\w\s([CF])", re.DOTALL)


def words_of(name: str) -> set[str]:
    """Return the words of a heading in small letters, and the stems of compounds."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    words = set(_LETTERS.findall(spaced.lower()))
    # German and its neighbours write "Kerntemperatur", now and then with an s between.
    words |= {stem for word in words if (stem := _STEMS.sub("", word)) and stem != word}
    return words - {"point"} if words & {"dew", "set"} else words


def unit_of(name: str) -> Unit | None:
    """Return the unit a heading states; None if it states none, or both."""
    text = _TENTHS.sub("°", name.strip()) if is_in_tenths(name) else name.strip()
    found = [unit for unit, mark in _UNIT_MARKS if mark.search(text)]
    last = _LETTER_LAST.fullmatch(text)
    if not found and last and words_of(text) & (MEAT | AIR | AMBIENT):
        return cast(Unit, last[1])  # "Meat F"; "Probe C" may be the third probe
    return found[0] if len(found) == 1 else None


def is_in_tenths(name: str) -> bool:
    """Tell whether a heading says that its numbers are tenths of a degree."""
    return _TENTHS.search(name) is not None


def states_other_unit(name: str) -> bool:
    """Tell whether a heading states a unit that is none of temperature."""
    return _OTHER_UNIT.search(name.strip()) is not None and unit_of(name) is None


def is_only_quantity(name: str) -> bool:
    """Tell whether a heading speaks of another quantity and of nothing else."""
    words = words_of(name)
    rest = words - QUANTITY - BESIDE_QUANTITY - AIR - AMBIENT
    return bool(words & QUANTITY) and not rest


def speaks_of_time(name: str) -> bool:
    """Tell whether a heading is one of a column of time."""
    words = words_of(name)
    if words & TIME:
        return True
    bare = words - _set("s sec min mins h hr hrs ms") if len(words) > 1 else words
    if name.strip()[:1] == "T" and words == {"t"}:
        return False  # more often a temperature
    return (
        not re.search(r"\d", name)
        and unit_of(name) is None
        and bool(words & _TIME_ALONE)
        and bare <= _TIME_ALONE
        and len(bare) <= 1
    )


def role_of(name: str) -> str:
    """Return what a heading says its column holds; empty if nothing known."""
    words = words_of(name)
    if speaks_of_time(name) and not (words & MEAT and unit_of(name)):
        return "date" if words & DATE and not words & {"time", "clock"} else "time"
    if words & (QUANTITY | SETTING):
        return ""
    if words & AIR:
        return "air"
    if words & AMBIENT:
        return "ambient"
    if words & MEAT:
        return "meat"
    numbered = bool(re.search(r"\d", name)) and words <= _GENERIC | _set("t p c f degc degf")
    alone = bool(words & _GENERIC) and words <= _GENERIC | _set(
        "c f deg degc degf celsius fahrenheit"
    )
    return "probe" if words & PROBE or (numbered and words) or alone else ""
