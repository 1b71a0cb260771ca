"""Print on a picture, read by a text reader whose models lie in its package: nothing is fetched.

One reader is kept for the process and used by one at a time; its threads are limited, so that a picture does
not take the whole machine.
"""

from __future__ import annotations

import logging
import os
import threading
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from bittern.core.errors import InputError
from bittern.engines.label.lines import Line, plain_text
from bittern.formats.images import Pixels, shrink_picture

LONGEST_PX = 2000
"""The print of a label fills a part of a photo; at this size its letters still have 15 pixels and more."""
LEAST_CONFIDENCE = 0.5
"""Below this the reader itself says that it is no text."""
MOST_BOXES = 150
"""A label has a dozen lines. A picture made of nothing but print must not keep the reader for minutes."""
THREADS = 2
WAIT_S = 30.0

# The models' runtime reports to its maker, and leaves an identifier of the machine on the disk, unless this
# stands there before it is loaded (its Privacy.md, "Disabling Telemetry"). A bench tells nobody anything.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"

_one_at_a_time = threading.Lock()


def read_print(pixels: Pixels, *, longest: int = LONGEST_PX) -> tuple[Line, ...]:
    """Return the lines of print on a picture, as the reader found them, in no order.

    Parameters
    ----------
    pixels
        The picture; read at ``longest`` pixels of its long side at most.

    Returns
    -------
    tuple of Line
        With boxes in pixels of the picture as it was given.

    Raises
    ------
    InputError
        Others are reading pictures, and it did not come to this one within half a minute.
    """
    shown = shrink_picture(pixels, longest)
    if not _one_at_a_time.acquire(timeout=WAIT_S):
        raise InputError("several pictures being read at once", "one at a time", hint="try again in a minute")
    try:
        # The reader takes blue first.
        result = _get_reader()(np.ascontiguousarray(shown[:, :, ::-1]))
    finally:
        _one_at_a_time.release()
    if result.boxes is None or result.txts is None or result.scores is None:
        return ()
    scale = pixels.shape[1] / shown.shape[1]
    found = []
    for box, text, score in zip(result.boxes, result.txts, result.scores, strict=True):
        a, b, c, d = ((float(x) * scale, float(y) * scale) for x, y in box)
        if plain_text(text):
            found.append(Line(plain_text(text), float(score), (a, b, c, d)))
    return tuple(found)


@lru_cache(maxsize=1)
def _get_reader() -> Any:
    """Return the reader; called with the lock held."""
    import rapidocr

    models = Path(rapidocr.__file__).parent / "models"
    names = {
        "Det.model_path": "PP-OCRv6_det_small.onnx",
        "Cls.model_path": "ch_ppocr_mobile_v2.0_cls_mobile.onnx",
        "Rec.model_path": "PP-OCRv6_rec_small.onnx",
    }
    reader = rapidocr.RapidOCR(
        params={
            # A path of its own for each model: it then never looks for one elsewhere.
            **{key: str(models / name) for key, name in names.items()},
            "Global.log_level": "critical",
            "Global.text_score": LEAST_CONFIDENCE,
            "Det.max_candidates": MOST_BOXES,
            "EngineConfig.onnxruntime.intra_op_num_threads": THREADS,
            "EngineConfig.onnxruntime.inter_op_num_threads": 1,
        }
    )
    logging.getLogger("RapidOCR").setLevel(logging.CRITICAL)
    return reader
