"""Invented run sheets of the marsh family. They are nobody's real procedure."""

from __future__ import annotations

from demo_pack.steps import (
    AUTHORITY,
    BEEP,
    DONE,
    DONE_ALL,
    EVERY_KEY,
    LAMP,
    LOCKS,
    MESSAGE,
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

MARSH_TURN_PAIR = make_sheet(
    "marsh-turn-pair",
    "Pair a turn key, marsh family",
    "present-only",
    (AUTHORITY, EVERY_KEY, SUPPLY),
    [
        *arrive("line-up"),
        check(
            "line-up",
            "Lay every key of this vehicle side by side on the seat and count them with the customer."
            " A key that is not here will not work afterwards.",
            30,
            90,
            "wake",
        ),
        act(
            "wake",
            "Turn the ignition on with a key that works and off again, four times, two seconds each."
            " The lamp beside the clock blinks twice.",
            12,
            30,
            "open",
            fail("asleep", 0.08, "turned too slowly"),
            signal=signal(LAMP, 2),
        ),
        choose(
            "asleep",
            "The lamp stayed dark. The vehicle has changed nothing. Try once more?",
            ("Try again", "wake", 0.8),
            ("Stop here", "stopped", 0.2),
        ),
        act(
            "open",
            "Hold the lock switch in the driver's door until the locks run once. From this moment only the"
            " keys that you show next will work.",
            4,
            9,
            "first",
            fail("closed", 0.03, "let go too early"),
            signal=signal(LOCKS),
            no_return=True,
        ),
        choose(
            "closed",
            "The locks did not run. Is the lamp beside the clock still lit?",
            ("It is lit", "open", 0.7),
            ("It is dark", "asleep", 0.3),
        ),
        act(
            "first",
            "Turn on the ignition with the new key and wait for three blinks, then turn it off.",
            8,
            20,
            "more",
            fail("unread", 0.03, "the new key is not read"),
            signal=signal(LAMP, 3),
            window_s=30,
        ),
        choose(
            "more",
            "Is there a key on the seat that the vehicle has not seen since the locks ran?",
            ("Yes, another key", "next", 0.5),
            ("No, all are shown", "close", 0.5),
        ),
        act(
            "next",
            "Turn on the ignition with the next key, wait for three blinks, turn it off and lay it aside.",
            8,
            20,
            "more",
            fail("unread", 0.02, "this key is not read"),
            signal=signal(LAMP, 3),
            window_s=30,
        ),
        choose(
            "unread",
            "The vehicle does not read this key. It waits for another two minutes.",
            ("Try this key once more", "next", 0.6),
            ("Show the keys that remain", "more", 0.25),
            ("No key is read any more", "stranded", 0.15),
        ),
        wait(
            "close",
            "Take out the key, leave the doors closed and wait until the lamp goes out.",
            20,
            45,
            "start",
        ),
        try_engine("start", "buttons", "stranded"),
        choose("buttons", "Has the new key buttons?", ("Yes", "try-buttons", 0.7), ("No", "good", 0.3)),
        try_buttons("good", "good-no-radio"),
        end("good", "good", DONE),
        end(
            "good-no-radio",
            "good",
            DONE + " The radio is still to be put right: see the remote's own run sheet.",
        ),
        stopped(),
        supply_low(),
        end(
            "stranded",
            "stranded",
            "No key starts the engine now. Do not try on: leave the supply connected.",
            recovery="The shop's owner opens a session with the make's authorised equipment and"
            " enters every key again;"
            " allow a working day, and offer the customer a ride.",
        ),
    ],
)

MARSH_PUSH_PAIR = make_sheet(
    "marsh-push-pair",
    "Pair a proximity key, marsh family",
    "present-only",
    (AUTHORITY, EVERY_KEY, SUPPLY),
    [
        *arrive("cells"),
        check(
            "cells",
            "Check the coin cell of every key: below 2.8 V, fit a new one. Keep coin cells, new and"
            " used, away from"
            " children; a swallowed cell burns within hours.",
            60,
            180,
            "line-up",
        ),
        check(
            "line-up",
            "Lay every key of this vehicle on the seat and count them with the customer. A key that is not"
            " here will not work afterwards.",
            30,
            90,
            "menu",
        ),
        act(
            "menu",
            "Hold a key that works against the start button, press it without the brake, and open the page"
            " for keys in the instrument's menu.",
            25,
            60,
            "agree",
            fail("no-menu", 0.05, "the page is not offered"),
            signal=signal(MESSAGE, 1, "KEYS: HOLD TO BEGIN"),
        ),
        choose(
            "no-menu",
            "The page for keys is not there. Is the key that works against the start button?",
            ("Hold it there again", "menu", 0.8),
            ("Give up for today", "stopped", 0.2),
        ),
        act(
            "agree",
            "Hold the start button for five seconds until two beeps sound. From this moment only the keys"
            " that you show next will work.",
            6,
            12,
            "show-new",
            fail("no-menu", 0.04, "let go too early"),
            signal=signal(BEEP, 2),
            no_return=True,
        ),
        act(
            "show-new",
            "Hold the new key against the start button until one beep sounds.",
            5,
            15,
            "show-rest",
            fail("not-heard", 0.04, "the new key is not read"),
            signal=signal(BEEP),
            window_s=30,
        ),
        act(
            "show-rest",
            "Hold each of the other keys against the start button in turn, one beep each.",
            10,
            40,
            "finish",
            fail("not-heard", 0.02, "a key is not read"),
            signal=signal(BEEP),
            window_s=60,
        ),
        choose(
            "not-heard",
            "No beep. Turn the key over: its back-up coil may sit on the other side.",
            ("Try the other side", "show-rest", 0.85),
            ("Finish with the keys read so far", "finish", 0.1),
            ("No key at all is read", "stranded", 0.05),
        ),
        act(
            "finish",
            "Open and close the driver's door. The instrument says how many keys it knows: compare with the"
            " keys on the seat.",
            10,
            30,
            "start",
            signal=signal(MESSAGE, 1, "KEYS KNOWN"),
        ),
        try_engine("start", "try-buttons", "stranded", push=True),
        try_buttons("good", "good"),
        end("good", "good", DONE),
        stopped(),
        supply_low(),
        end(
            "stranded",
            "stranded",
            "The vehicle knows no key that is here. Leave the supply connected and the doors as they are.",
            recovery="The shop's owner calls the make's hotline with the authority on record and has"
            " the vehicle opened"
            " with the make's authorised equipment, on the same day if called before noon.",
        ),
    ],
)

MARSH_REMOTE_SYNC = make_sheet(
    "marsh-remote-sync",
    "Join a remote, marsh family",
    "all",
    (AUTHORITY,),
    [
        act(
            "settle",
            "Set the parking brake and close all doors. The engine stays off throughout.",
            20,
            60,
            "cell",
        ),
        check(
            "cell",
            "Check the remote's coin cell: below 2.8 V, fit a new one. Keep cells, new and used, away from"
            " children; a swallowed cell burns within hours.",
            30,
            120,
            "listen",
        ),
        act(
            "listen",
            "Turn the ignition on and off twice, then open and close the driver's door. The lamp in the door"
            " lights.",
            12,
            30,
            "press",
            fail("deaf", 0.07, "too slow"),
            signal=signal(LAMP),
        ),
        act(
            "press",
            "Hold lock and unlock together until the locks run once.",
            5,
            12,
            "try-buttons",
            fail("deaf", 0.06, "the remote is not heard"),
            signal=signal(LOCKS),
            window_s=15,
        ),
        choose(
            "deaf",
            "The vehicle did not answer. Nothing has changed.",
            ("Begin again", "listen", 0.75),
            ("Stop here", "stopped", 0.25),
        ),
        try_buttons("good", "deaf"),
        end("good", "good", DONE_ALL),
        stopped(),
    ],
)

SHEETS = (
    MARSH_TURN_PAIR,
    MARSH_PUSH_PAIR,
    MARSH_REMOTE_SYNC,
)
