"""What loggers call the canonical channels: the words a proposal of a channel map goes by.

The words are plain English, the signal names of SAE J1979 and NMEA 2000, and their usual abbreviations.
"""

from __future__ import annotations

from typing import Final

NAMES: Final[dict[str, tuple[str, ...]]] = {
    "rpm": ("rpm", "engine speed", "engine rpm", "crank speed", "crankshaft speed", "revs", "engine revolutions"),
    "rpm_target": ("rpm target", "idle target", "idle rpm target", "target idle speed", "idle speed target",
                   "desired idle speed", "idle setpoint", "idle speed setpoint", "target engine speed"),
    "gear": ("gear", "gear lever", "lever", "gear request", "requested gear", "gear selector", "transmission gear",
             "shift request", "gear demand", "gear position"),
    "shift_target": ("shift target", "shift actuator target", "target shift position", "shift position target",
                     "shift setpoint", "shift command", "shift demand", "actuator target", "shift servo target"),
    "shift_position": ("shift position", "shift actuator position", "shift actual", "shift feedback",
                       "actuator position", "shift pos", "shift servo position", "shift travel"),
    "throttle": ("throttle", "throttle position", "throttle plate", "absolute throttle position", "tps",
                 "throttle angle", "throttle opening"),
    "pedal": ("pedal", "accelerator pedal position", "pedal d", "accelerator pedal position d", "helm demand",
              "throttle demand", "driver demand", "helm lever", "pedal position", "accelerator"),
    "idle_integral": ("idle integral", "idle integrator", "idle i term", "idle correction", "idle closed loop",
                      "idle control integral", "idle speed integral"),
    "idle_feedforward": ("idle feedforward", "idle feed forward", "idle base", "idle table", "idle base position",
                         "idle base duty"),
    "idle_active": ("idle active", "idle control active", "idle flag", "idle state", "idle status", "idle mode"),
    "fuel_closed_loop": ("fuel closed loop", "closed loop", "lambda control active", "fuel system status",
                         "lambda closed loop", "closed loop active", "closed loop status"),
    "oil_temp": ("oil temp", "engine oil temp", "eot", "oil t"),
    "coolant_temp": ("coolant temp", "engine coolant temp", "water temp", "ect", "clt", "cooling water temp",
                     "engine temp"),
    "air_temp": ("air temp", "intake air temp", "inlet air temp", "iat", "charge air temp", "intake temp"),
    "lambda": ("lambda", "afr", "air fuel ratio", "lambda measured", "wideband", "lambda sensor", "measured afr"),
    "lambda_target": ("lambda target", "target lambda", "afr target", "target afr", "commanded lambda",
                      "fuel air commanded equiv ratio", "commanded equivalence ratio", "lambda setpoint"),
    "fuel_trim": ("fuel trim", "short term fuel trim", "short term fuel trim bank 1", "stft", "fuel correction",
                  "lambda correction", "closed loop correction"),
    "battery": ("battery", "battery voltage", "control module voltage", "supply voltage", "battery volts", "vbat",
                "alternator potential", "system voltage", "ecu voltage"),
    "oil_pressure": ("oil pressure", "engine oil pressure", "oil press", "oil p"),
    "manifold_pressure": ("manifold pressure", "intake manifold pressure", "intake manifold absolute pressure",
                          "manifold absolute pressure", "map", "inlet manifold pressure"),
    "engine_hours": ("engine hours", "total engine hours", "hours", "hour meter", "run hours", "operating hours",
                     "total hours"),
}  # fmt: skip

CONTRARY: Final[dict[str, frozenset[str]]] = {
    # A word that makes the name another quantity, though the rest of it fits.
    "rpm": frozenset({"target", "desired", "setpoint", "error", "limit", "idle", "propeller", "shaft", "turbo"}),
    "rpm_target": frozenset({"error", "shift"}),
    "gear": frozenset({"oil", "temp", "pressure", "ratio", "target", "actuator"}),
    "shift_target": frozenset({"error", "lamp"}),
    "shift_position": frozenset({"target", "error", "setpoint", "demand"}),
    "throttle": frozenset({"target", "commanded", "command", "relative", "demand", "actuator", "idle", "b"}),
    "pedal": frozenset({"e", "relative"}),
    "idle_integral": frozenset({"target", "speed error"}),
    "oil_temp": frozenset({"coolant", "air", "gear", "transmission", "pressure", "water"}),
    "coolant_temp": frozenset({"oil", "air", "exhaust", "pressure", "catalyst", "fuel"}),
    "air_temp": frozenset({"oil", "coolant", "ambient", "exhaust", "catalyst", "outside"}),
    "lambda": frozenset({"target", "commanded", "setpoint", "correction", "error", "control"}),
    "fuel_trim": frozenset({"long", "term2", "tank", "tilt"}),
    "battery": frozenset({"current", "temp"}),
    "oil_pressure": frozenset({"fuel", "coolant", "gear", "temp", "water"}),
    "manifold_pressure": frozenset({"barometric", "ambient", "exhaust", "temp"}),
    "engine_hours": frozenset({"service", "remaining", "load", "speed", "temp"}),
}

SAME_WORD: Final[dict[str, str]] = {
    "temperature": "temp", "tmp": "temp", "pos": "position", "press": "pressure", "des": "desired", "dsrd": "desired",
    "tgt": "target", "trgt": "target", "setp": "setpoint", "accel": "accelerator", "batt": "battery", "volt": "voltage",
    "volts": "voltage", "eng": "engine", "clnt": "coolant", "act": "actual", "ff": "feedforward", "int": "integral",
    "cmd": "command", "req": "request", "corr": "correction", "engaged": "active", "on": "active", "man": "manifold",
    "wanted": "target", "set": "setpoint", "asked": "request",
}  # fmt: skip

FOREIGN: Final[dict[str, str]] = {
    # Words of other languages in English, one or more words each: German, French, Spanish, Italian, Dutch, Swedish.
    "drehzahl": "rpm", "motordrehzahl": "engine rpm", "solldrehzahl": "rpm target", "leerlauf": "idle",
    "leerlaufdrehzahl": "idle speed", "soll": "target", "sollwert": "target", "ist": "actual", "istwert": "actual",
    "gang": "gear", "drosselklappe": "throttle", "fahrpedal": "pedal", "gaspedal": "pedal", "temperatur": "temp",
    "öl": "oil", "oel": "oil", "öltemperatur": "oil temp", "oeltemperatur": "oil temp", "öldruck": "oil pressure",
    "oeldruck": "oil pressure", "kühlmittel": "coolant", "kühlmitteltemperatur": "coolant temp",
    "wassertemperatur": "water temp", "ansaugluft": "intake air", "ansauglufttemperatur": "intake air temp",
    "lufttemperatur": "air temp", "saugrohrdruck": "manifold pressure", "druck": "pressure",
    "batteriespannung": "battery voltage", "bordspannung": "supply voltage", "spannung": "voltage",
    "betriebsstunden": "operating hours", "zeit": "time", "uhrzeit": "clock",
    "régime": "rpm", "regime": "rpm", "moteur": "engine", "motor": "engine", "motore": "engine", "consigne": "target",
    "ralenti": "idle", "huile": "oil", "eau": "water", "pression": "pressure", "air": "air", "admission": "intake",
    "papillon": "throttle", "pédale": "pedal", "batterie": "battery", "tension": "voltage", "heures": "hours",
    "temps": "time", "rapport": "gear",
    "régimen": "rpm", "revoluciones": "rpm", "aceite": "oil", "agua": "water", "presión": "pressure",
    "presion": "pressure", "mariposa": "throttle", "batería": "battery", "bateria": "battery", "tensión": "voltage",
    "horas": "hours", "tiempo": "time", "marcha": "gear", "aire": "air", "admisión": "intake",
    "giri": "rpm", "olio": "oil", "acqua": "water", "pressione": "pressure", "farfalla": "throttle",
    "pedale": "pedal", "batteria": "battery", "tensione": "voltage", "ore": "hours", "marcia": "gear", "aria": "air",
    "toerental": "rpm", "olie": "oil", "druk": "pressure", "gasklep": "throttle", "accu": "battery",
    "spanning": "voltage", "uren": "hours", "tijd": "time",
    "varvtal": "rpm", "olja": "oil", "kylvatten": "coolant", "tryck": "pressure", "trottel": "throttle",
    "spänning": "voltage", "timmar": "hours", "tid": "time", "växel": "gear",
}  # fmt: skip

OTHER_WORDS: Final = frozenset({
    # Words of quantities that are no channel of ours: a name with one of them and nothing of ours is something else.
    "vehicle", "boat", "ground", "timing", "advance", "ignition", "spark", "knock", "load", "tank", "level", "catalyst",
    "evaporative", "purge", "distance", "trip", "codes", "warm", "ups", "mil", "flow", "mass", "torque", "power",
    "boost", "injector", "injection", "duty", "dwell", "humidity", "latitude", "longitude", "lat", "lon", "heading",
    "course", "depth", "gps", "satellites", "altitude", "yaw", "pitch", "roll", "wind", "exhaust", "barometric",
    "ambient", "cam", "cylinder", "crankcase", "sea", "tilt", "rudder", "bilge", "current", "alternator", "turbo",
    "wheel", "brake", "clutch", "steering", "error", "counter", "index", "checksum", "sample", "prediction",
})  # fmt: skip

TIME_NAMES: Final = ("time", "timestamp", "time stamp", "date time", "datetime", "elapsed time", "log time", "clock",
                     "engine run time", "run time", "seconds", "utc", "utc time")  # fmt: skip

ENGINE_WORDS: Final = ("port", "starboard", "stbd", "stb", "centre", "center", "port inner", "starboard inner",
                       "port outer", "starboard outer", "left", "right", "engine 1", "engine 2", "engine 3", "engine 4",
                       "engine 5", "eng1", "eng2", "eng3", "eng4", "e1", "e2", "e3", "e4")  # fmt: skip

GEAR_WORDS: Final[dict[str, str]] = {
    "r": "reverse", "rev": "reverse", "reverse": "reverse", "astern": "reverse", "back": "reverse",
    "n": "neutral", "neu": "neutral", "neut": "neutral", "neutral": "neutral", "idle": "neutral",
    "f": "forward", "fwd": "forward", "forward": "forward", "ahead": "forward", "d": "forward", "drive": "forward",
}  # fmt: skip
