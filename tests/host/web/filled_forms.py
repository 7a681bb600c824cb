"""Forms filled in as somebody at the desk fills them in: each begins what its page is for."""

#: A thermometer and its reference, both read by hand.
AN_INFRARED_CHECK = {
    "item": "Infrared thermometer, tag I-7",
    "thermometer": "entered",
    "serial": "I-7",
    "resolution_k": "0.1",
    "accuracy_k": "2",
    "emissivity": "settable",
    "distance_to_spot": "12",
    "band_from_um": "8",
    "band_to_um": "14",
    "reference": "entered",
    "reference_serial": "T-2",
    "reference_resolution_k": "0.1",
    "reference_u_k": "0.5",
    "target": "taped_face",
    "surface": "ultra-flat black spray paint",
    "target_mm": "100",
    "distance_mm": "300",
    "set_emissivity": "0.95",
    "air": "23",
    "set_points": "45 65 90",
    "job": "J-9",
}
#: What is filled in otherwise where the probe of a bench is the reference.
AT_A_STATION = {"reference": "station:bench-1", "target": "painted_face", "set_points": "60 75 88"}
A_ROUND = {
    "artefact": "Sender <7> & its lead",
    "quantity": "error",
    "at": "60",
    "curve": "ntc-310-80c",
    "reference_way": "typed",
    "reference_value": "-4.2",
    "reference_u": "0.1",
    "reference_k": "2",
    "reference_words": "certificate 4/31 of an invented laboratory",
    "more_stations": "Station B, Station C",
    "kept": "in its boot",
}
A_ROUND_OF_A_RESISTOR = A_ROUND | {
    "artefact": "Resistor of 1 kΩ",
    "quantity": "resistance",
    "at": "1k",
    "curve": "",
    "reference_value": "1000.2",
    "reference_u": "0.2",
    "more_stations": "",
}
