"""The sheets of the kiln's alarms. None of them makes the gateway a guard against fire."""

from __future__ import annotations

from gateway.core.wording.sheet_form import Sheet

KILN: dict[str, Sheet] = {
    "kiln_hot": Sheet(
        "Fire too strong or draught lost for the stage the kiln has reached, grain too hot for its estimated "
        "moisture, or no fire recorded.",
        "Wet malt over its limit loses its enzymes; dry malt and dust can catch fire.",
        "Damp the fire, keep the draught on, stay off the kiln floor. Smoke: ring the fire service, "
        "do not open.",
        "10 minutes",
        "high",
        "maltster",
    ),
    "kiln_fire": Sheet(
        "Heat far over the programme, or heat or carbon monoxide rising with the fire drawn.",
        "Malt, culms and dust burn; a door that is opened feeds the fire.",
        "Ring the fire service. Do not open, do not enter, get everybody out of the building. The gateway is "
        "no fire alarm: smoke seen or smelled is enough.",
        "at once",
        "highest",
        "whoever is called",
    ),
    "kiln_stew": Sheet(
        "Hot wet grain under air that is full: too little draught for the fire.",
        "Enzymes are lost within hours, colour rises, corns go glassy.",
        "Open the draught, then damp the fire; the kiln floor only when cool and aired, with a hand meter.",
        "20 minutes",
        "high",
        "maltster",
    ),
    "kiln_fire_out": Sheet(
        "The fire went out, or was let down and not recorded, while the malt is wet.",
        "A wet load without draught heats itself like a deep bed, mats and sours.",
        "Relight as the burner's instructions say, keep the draught on; relighting does not begin the stage "
        "anew. Carbon monoxide: hand meter in the furnace room.",
        "30 minutes",
        "high",
        "maltster",
    ),
    "kiln_heating": Sheet(
        "A wet load without fire, or whose draught seems lost, warms by itself.",
        "It is a bed a foot deep: it heats on until it stews.",
        "Get air through it: draught, fan, doors. Failing that level and turn it, or take it off; hand "
        "meter, and nobody alone on the kiln floor.",
        "30 minutes",
        "high",
        "maltster",
    ),
    "kiln_break_withdrawn": Sheet(
        "Air-off warmed as at the kiln break and then came to a new plateau, after the fire had been raised.",
        "Malt that is still wet stands in air meant for dry malt.",
        "Bring air-on back to the first stage, keep the draught on, feel the malt on top.",
        "20 minutes",
        "high",
        "maltster",
    ),
    "kiln_ramp": Sheet(
        "Air-on rises faster than its stage's ramp.",
        "The lower layers harden and darken before the upper ones are dry.",
        "Damp the fire a little; look at what feeds it.",
        "1 hour",
        "medium",
        "maltster",
    ),
    "kiln_overrun": Sheet(
        "The next stage's hour is long past; kiln break, hand-dry or moisture has not come, or was not "
        "recorded.",
        "Time and fuel; seldom harm.",
        "Feel the malt: record hand-dry if it is; else look at draught and fire.",
        "by the morning",
        "low",
        "maltster",
    ),
    "kiln_cooling": Sheet(
        "The load was stripped before it had cooled.",
        "Warm malt in store goes on darkening and draws moisture.",
        "Spread it and let it cool before it goes to store.",
        "2 hours",
        "low",
        "maltster",
    ),
}
