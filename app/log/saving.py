"""How takes, their figures and their events get into the tables.

Everything here happens inside :meth:`app.log.store.Store.writing`, and may happen twice: the second time
changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from app.log import schema
from app.log.bars import Metre
from app.log.records import TakeEvent, TakeUpdate
from app.log.store import Store


def save_take(store: Store, update: TakeUpdate, number: int | None, owner_token: str) -> int:
    """Write a take as it stands now; returns its number. Inside a transaction.

    ``number`` is what the take had so far: a log that was replaced meanwhile gives it the same one again
    unless that is taken.
    """
    if number is not None and store.rows(
        "SELECT 1 FROM take WHERE number = ? AND uid <> ?", number, update.uid
    ):
        number = None
    session = _session_for(store, update)
    peaks = [c.peak_dbfs for c in update.per_channel if c.peak_dbfs is not None]
    store.change(
        "INSERT INTO take (number, uid, owner, name, part, started_us, utc_offset_s, input_spec,"
        " input_name, rate_hz, state, frames, lost_frames, verdict, clips, peak_dbfs, session,"
        " tempo_bpm, beats_per_bar, count_in_s)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (uid) DO UPDATE SET owner = excluded.owner, state = excluded.state,"
        " frames = excluded.frames, lost_frames = excluded.lost_frames, verdict = excluded.verdict,"
        " clips = excluded.clips, peak_dbfs = excluded.peak_dbfs",
        number,
        update.uid,
        owner_token,
        update.name,
        update.part,
        update.started_us,
        update.utc_offset_s,
        update.input_spec,
        update.input_name,
        update.rate_hz,
        update.state.value,
        update.frames,
        update.lost_frames,
        update.verdict and update.verdict.value,
        sum(c.clips for c in update.per_channel),
        max(peaks, default=None),
        session,
        *_metre_values(update.metre),
    )
    ((number,),) = store.rows("SELECT number FROM take WHERE uid = ?", update.uid)
    store.change_many(
        "INSERT OR REPLACE INTO channel"
        " (take, position, peak_dbfs, average_max_dbfs, noise_floor_dbfs, clips)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        [
            (number, position, c.peak_dbfs, c.average_max_dbfs, c.noise_floor_dbfs, c.clips)
            for position, c in enumerate(update.per_channel)
        ],
    )
    if update.trace is not None:
        store.change(
            "INSERT OR REPLACE INTO trace (take, point_s, points) VALUES (?, ?, ?)",
            number,
            update.trace.point_s,
            update.trace.points,
        )
    return int(number)


def _metre_values(metre: Metre | None) -> tuple[float | None, int | None, float | None]:
    return (metre.tempo_bpm, metre.beats_per_bar, metre.count_in_s) if metre else (None, None, None)


def _session_for(store: Store, update: TakeUpdate) -> int | None:
    """The session that a new take belongs to, made when there is none; None for a take that has one."""
    if store.rows("SELECT 1 FROM take WHERE uid = ?", update.uid):
        return None
    newest = store.rows(
        "SELECT session.number, max(session.started_us, coalesce((SELECT max(take.started_us"
        " + frames * 1000000 / rate_hz) FROM take WHERE take.session = session.number), 0))"
        " FROM session ORDER BY session.number DESC LIMIT 1"
    )
    # abs(): a clock that jumped back for a moment does not end the evening.
    if newest and abs(update.started_us - newest[0][1]) <= schema.SESSION_PAUSE_US:
        return int(newest[0][0])
    return add_session(store, "", update.started_us, update.utc_offset_s)


def add_session(store: Store, name: str, started_us: int, utc_offset_s: int) -> int:
    """Begin a session, which the takes that follow belong to; returns its number. Inside a transaction."""
    sql = "INSERT INTO session (name, started_us, utc_offset_s) VALUES (?, ?, ?)"
    number = store.change(sql, name, started_us, utc_offset_s).lastrowid
    assert number is not None  # noqa: S101 - an INSERT has one
    return number


def save_events(
    store: Store,
    number: int,
    first_seq: int,
    events: Sequence[TakeEvent],
    under_way: Sequence[TakeEvent] = (),
) -> None:
    """Write events of a take, counted from ``first_seq``. Inside a transaction.

    Those under way are numbered downwards from -1, and those of the last time are replaced: should the
    program be killed, they stand in the log as they were.
    """
    store.change("DELETE FROM event WHERE take = ? AND seq < 0", number)
    numbered = [*enumerate(events, first_seq), *((-seq, e) for seq, e in enumerate(under_way, 1))]
    store.change_many(
        "INSERT OR IGNORE INTO event (take, seq, kind, frame, channel, frames, peak_dbfs, detail, count,"
        " over_db, change_db) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                *(number, seq, str(e.kind), e.frame, e.channel, e.frames, e.peak_dbfs, e.detail),
                *(e.count, e.over_db, e.change_db),
            )
            for seq, e in numbered
        ],
    )
