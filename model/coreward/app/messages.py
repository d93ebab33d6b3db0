"""Judge a message from a page before anything else reads it.

Sizes, counts and places are compared with bounds first; only what fits is taken apart. A
message in the short form is a list of offsets and the parts that they bound, all numbers
being eight bytes with the least first: the channel, then header, parent, metadata and
content as JSON, then bytes such as those of a file.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from typing import Any, Final

LARGEST: Final = 32 * 2**20
"""A file that is sent to a page, with room to spare. [B]"""
SHORT_FORM: Final = "v1.kernel.websocket.jupyter.org"
# What controls need, both ways: their state asked for and changed, nothing that runs code.
ALLOWED: Final = frozenset(
    {"comm_msg", "comm_open", "comm_close", "comm_info_request", "kernel_info_request"}
)
_ASKS_FOR_STATE: Final = "jupyter.widget.control"
_NUMBER: Final = 8  # width of a count or an offset [B]
_WORDS: Final = 5  # channel, header, parent, metadata, content
_MOST_BUFFERS: Final = 8  # a page sends one file at a time
_MOST_IN_HEADERS: Final = 16 * 2**10  # each: names and dates [B]
_MOST_IN_CONTENT: Final = 2**20  # the settings of a whole panel are under 10 kB [B]


class RefusedMessageError(ValueError):
    """A message that is not passed on."""


def check(message: str | bytes, subprotocol: str | None) -> None:
    """Let a message pass, or refuse it.

    Parameters
    ----------
    subprotocol : str or None
        What page and server agreed on.

    Raises
    ------
    RefusedMessageError
        If it is not one that a control sends; the reason is short enough to be told.
    """
    try:
        channel, header, content = _parts(message, subprotocol)
        kind = header["msg_type"]
        if channel not in {"shell", "control"} or kind not in ALLOWED:
            raise RefusedMessageError(
                f"a page may move controls only, not send {str(kind)[:40]!r}"
            )
        if kind == "comm_open" and content["target_name"] != _ASKS_FOR_STATE:
            raise RefusedMessageError("a page makes no controls of its own")
    except RefusedMessageError:
        raise
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise RefusedMessageError("a message in an unknown form") from error


def _parts(message: str | bytes, subprotocol: str | None) -> tuple[Any, Any, Any]:
    if len(message) > LARGEST:
        raise RefusedMessageError("a message that is too large")
    if isinstance(message, bytes) and subprotocol == SHORT_FORM:
        channel, header, parent, metadata, content = _taken_apart(message)
        words = [json.loads(part) for part in (header, parent, metadata, content)]
        found: tuple[Any, list[Any]] = (channel.decode(), words)
    elif isinstance(message, str) and subprotocol != SHORT_FORM:
        if len(message) > _MOST_IN_CONTENT:
            raise RefusedMessageError("a message that is too large")
        whole = json.loads(message)
        names = ("header", "parent_header", "metadata", "content")
        found = (whole["channel"], [whole[name] for name in names])
        if whole.get("buffers"):
            raise RefusedMessageError("a message with parts where none belong")
    else:
        raise RefusedMessageError("a message in an unknown form")
    if not all(isinstance(part, dict) for part in found[1]):
        raise RefusedMessageError("a message in an unknown form")
    return found[0], found[1][0], found[1][3]


def _taken_apart(message: bytes) -> Sequence[bytes]:
    """Return the parts that are words; what is claimed is compared with what is there."""
    count = int.from_bytes(message[:_NUMBER], "little")
    # One offset begins each part, and one ends the last.
    if not _WORDS + 1 <= count <= _WORDS + 1 + _MOST_BUFFERS:
        raise RefusedMessageError(f"a message that claims {min(count, 10**6)} parts")
    begin = _NUMBER * (count + 1)
    offsets = [
        int.from_bytes(message[at : at + _NUMBER], "little")
        for at in range(_NUMBER, begin, _NUMBER)
    ]
    if offsets[0] != begin or offsets[-1] != len(message) or sorted(offsets) != offsets:
        raise RefusedMessageError("a message whose parts lie outside it")
    found = [message[a:b] for a, b in itertools.pairwise(offsets[: _WORDS + 1])]
    if any(len(part) > _MOST_IN_HEADERS for part in found[:-1]):
        raise RefusedMessageError("a message whose header is too large")
    if len(found[-1]) > _MOST_IN_CONTENT:
        raise RefusedMessageError("a message whose content is too large")
    return found
