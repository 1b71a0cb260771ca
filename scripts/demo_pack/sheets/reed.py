"""Invented run sheets of the reed family. They are nobody's real procedure."""

from __future__ import annotations

from demo_pack.steps import (
    AUTHORITY,
    DONE_ALL,
    LAMP,
    MESSAGE,
    OLD_KEY,
    SUPPLY,
    act,
    arrive,
    check,
    choose,
    end,
    fail,
    make_sheet,
    signal,
    stopped,
    supply_low,
    try_buttons,
    try_engine,
    wait,
)

REED_TURN_SPARE = make_sheet(
    "reed-turn-spare",
    "Add a spare turn key, reed family",
    "all",
    (AUTHORITY, OLD_KEY, SUPPLY),
    [
        *arrive("have"),
        choose(
            "have",
            "Is a key here that starts the engine today?",
            ("Yes", "master", 0.9),
            ("No, none works", "no-key", 0.1),
        ),
        act(
            "master",
            "Turn the working key to on for three seconds, then to off and take it out.",
            6,
            15,
            "spare",
            signal=signal(LAMP),
        ),
        act(
            "spare",
            "Put in the new key within ten seconds and turn it to on. The lamp blinks three times and goes"
            " out.",
            5,
            12,
            "hold",
            fail("refuses", 0.06, "window missed"),
            signal=signal(LAMP, 3),
            window_s=10,
        ),
        choose(
            "refuses",
            "The lamp stays lit. Nothing has changed.",
            ("Begin again", "master", 0.8),
            ("Stop here", "stopped", 0.2),
        ),
        wait("hold", "Leave the new key at on for a minute.", 60, 75, "start"),
        try_engine("start", "old-too", "refuses"),
        check(
            "old-too",
            "Try the old key too: the engine starts. Exhaust led outside, parking brake on.",
            20,
            60,
            "good",
        ),
        end("good", "good", DONE_ALL),
        end(
            "no-key",
            "unchanged",
            "A spare needs a key that works. Take the make's authorised way with the authority on record.",
        ),
        stopped(),
        supply_low(),
    ],
)

REED_PUSH_SPARE = make_sheet(
    "reed-push-spare",
    "Add a spare proximity key, reed family",
    "all",
    (AUTHORITY, OLD_KEY, SUPPLY),
    [
        *arrive("cell"),
        check(
            "cell",
            "Check the new key's coin cell: below 2.8 V, fit a new one. Keep cells, new and used, away from"
            " children; a swallowed cell burns within hours.",
            40,
            120,
            "menu",
        ),
        act(
            "menu",
            "With a working key on the seat, open the page for drivers in the vehicle's menu and choose"
            " to add"
            " a key.",
            30,
            90,
            "confirm",
            fail("missing", 0.05, "the entry is grey"),
            signal=signal(MESSAGE, 1, "ADD A KEY?"),
        ),
        act(
            "confirm",
            "Confirm within twenty seconds and lay the new key on the mark in the console.",
            8,
            20,
            "listen",
            fail("timed-out", 0.05, "window missed"),
            signal=signal(MESSAGE, 1, "NEW KEY ON MARK"),
            window_s=20,
        ),
        wait(
            "listen",
            "Leave the key on the mark until the message changes. Do not open a door.",
            25,
            60,
            "names",
            fail("timed-out", 0.03, "the key is not read"),
        ),
        choose(
            "names",
            "Which driver does the key belong to?",
            ("First driver", "start"),
            ("Second driver", "start"),
            ("Guest", "start"),
        ),
        choose(
            "missing",
            "The entry is grey. Is the working key inside and the gear in park?",
            ("Yes, try again", "menu", 0.7),
            ("Stop here", "stopped", 0.3),
        ),
        choose(
            "timed-out",
            "The message has gone. Nothing has changed.",
            ("Begin again", "menu", 0.85),
            ("Stop here", "stopped", 0.15),
        ),
        try_engine("start", "try-buttons", "timed-out", push=True),
        try_buttons("flat", "timed-out"),
        check(
            "flat",
            "Take the coin cell out of the new key and keep it away from children. Open the driver's"
            " door with the"
            " blade and start with the key on the mark, exhaust led outside. Put the cell back.",
            90,
            240,
            "good",
        ),
        end("good", "good", DONE_ALL),
        stopped(),
        supply_low(),
    ],
)

SHEETS = (
    REED_TURN_SPARE,
    REED_PUSH_SPARE,
)
