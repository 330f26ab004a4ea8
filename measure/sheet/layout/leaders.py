"""Leaders: diameters and radii, noted outside on a shelf at the end of a line that points at the feature's centre."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.dimensioning.scheme.values import CIRCLES, PlannedDimension
from measure.geometry.features import Feature, Point, Round, as_round, sweep_rad
from measure.sheet.layout.board import Board, What, line_meets_box
from measure.sheet.layout.caption import Caption
from measure.sheet.layout.drawn import Drawn
from measure.sheet.layout.ground import Ground
from measure.sheet.marks import ARROW_MM, NARROW, Mark, Path, arrow

LENGTHS_MM = np.array([5.0, 7, 9.5, 12.5, 16, 20, 25, 31, 38, 46, 56, 68])
CROSSING = {What.OUTLINE: 5.0, What.CENTRE: 0.8, What.EXTENSION: 2.5, What.DIMENSION: 8.0, What.LEADER: 16.0}
"""What it costs a leader to cross another line."""
CLEAR_MM = 0.9
CROWD_MM = 6.0
"""Arrowheads of leaders that are nearer than this to each other are hard to tell apart."""
BATCH = 160
STRAIGHT, LEANING = np.array([0.0]), np.radians([18.0, -18.0, 33.0, -33.0])
ANYHOW, CLOSE_MM = np.radians([0.0, 18.0, -18.0, 33.0, -33.0, 48.0, -48.0, 62.0, -62.0]), 0.45
"""Where nothing else is left: any slant, and words nearer to their surroundings."""
WELL = 7.0
"""Price up to which a leader in line with the centre is good enough; past it, leaning ones are tried too."""


@dataclass(frozen=True, slots=True)
class _Rays:
    """Places where a leader may point, and from where."""

    tip: Array  # (n, 2)
    out: Array  # (n, 2) unit, from the tip
    centre: Array  # (n, 2)
    cost: Array  # (n,)


@dataclass(frozen=True, slots=True)
class _Trials:
    """Many ways to draw one leader."""

    tip: Array  # (n, 2)
    elbow: Array  # (n, 2)
    right: NDArray[np.bool_]  # whether the shelf runs to the right
    centre: Array  # (n, 2)
    cost: Array  # (n,)


def lay_leader(
    wanted: PlannedDimension,
    caption: Caption,
    of: Mapping[str, Feature],
    ground: Ground,
    board: Board,
    extra: Point | None = None,
) -> tuple[Drawn, float] | None:
    """Place the note of a diameter, radius or pitch circle; None where there is no room.

    Args:
        wanted: what to state.
        caption: its words.
        of: features by label.
        ground: the part.
        board: what lies there already; the leader is drawn on it.
        extra: centre of the pitch circle, or of the teeth.
    """
    if extra is not None and (wanted.form == "pitch" or wanted.form in CIRCLES):
        rays = _pitch_rays(wanted, extra)
    else:
        rays = _rays([as_round(of[x]) for x in wanted.members])
    best = None
    all_round = extra is not None or of[wanted.members[0]].kind == "circle"
    for leans, clear in ((STRAIGHT, CLEAR_MM), (LEANING, CLEAR_MM), (ANYHOW, CLOSE_MM)):
        if best is not None and (leans is ANYHOW or all_round):
            break  # round a circle there are straight leaders to every side
        trials = _spread(rays, leans)
        found = _cheapest(trials, caption, ground, board, best[0] if best else math.inf, clear)
        if found is not None:
            best = (found[0], trials, found[1], found[2])
        if best is not None and best[0] < WELL:
            break
    if best is None:
        return None
    price, trials, i, stacked = best
    return _draw(wanted, caption, trials, i, stacked, board), price


def _cheapest(
    trials: _Trials, caption: Caption, ground: Ground, board: Board, limit: float, clear_mm: float
) -> tuple[float, int, bool] | None:
    """The cheapest trial that touches nothing: its price, its number, and whether the words are stacked."""
    best: tuple[float, int, bool] | None = None
    order = np.argsort(trials.cost, kind="stable")
    low, high = board.extent()
    for at in range(0, len(order), BATCH):
        part = order[at : at + BATCH]
        if trials.cost[part[0]] >= (best[0] if best else limit):
            break
        for stacked in (False, True) if caption.spread else (False,):
            cost = _price(trials, part, caption, stacked, ground, board, low, high, clear_mm)
            i = int(cost.argmin())
            if cost[i] < (best[0] if best else limit):
                best = (float(cost[i]), int(part[i]), stacked)
    return best


def _rays(members: Sequence[Round]) -> _Rays:
    tips, outs, centres, costs = [], [], [], []
    for n, f in enumerate(members[:8]):
        c = np.array(f.centre)
        if f.kind == "circle":
            angle = np.radians(np.arange(7.5, 360, 15 if len(members) < 3 else 22.5))
        else:
            first = math.atan2(f.start[1] - c[1], f.start[0] - c[0])
            share = np.array([0.5, 0.35, 0.65, 0.2, 0.8]) if abs(sweep_rad(f)) < 2.2 else np.linspace(0.08, 0.92, 15)
            angle = first + sweep_rad(f) * share
        u = np.stack([np.cos(angle), np.sin(angle)], 1)
        for inward in (False, True):
            if inward and (f.kind == "circle" or f.radius > 30):
                continue
            tips.append(c + f.radius * u)
            outs.append(-u if inward else u)
            centres.append(np.repeat(c[None], len(u), 0))
            extra = 0.15 * n + (1.5 if f.kind == "arc" and inward != (f.turn == "cw") else 0.0)
            costs.append(np.full(len(u), extra) + (0.5 * f.radius if inward else 0.0))
    return _Rays(np.concatenate(tips), np.concatenate(outs), np.concatenate(centres), np.concatenate(costs))


def _pitch_rays(wanted: PlannedDimension, middle: Point) -> _Rays:
    angle = np.radians(np.arange(3.75, 360, 7.5))
    u = np.stack([np.cos(angle), np.sin(angle)], 1)
    c = np.repeat(np.array([middle]), len(u), 0)
    return _Rays(c + wanted.paper_mm / 2 * u, u, c, np.zeros(len(u)))


def _spread(rays: _Rays, leans: Array) -> _Trials:
    """Rays of all lengths, leaning from the radial direction by some angles (rad)."""
    turns = [np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) for a in leans]
    out = np.concatenate([rays.out @ turn for turn in turns])
    cost = np.concatenate([rays.cost + 2.5 * abs(a) for a in leans])
    tip, centre = rays.tip, rays.centre
    tip, centre = np.tile(tip, (len(leans), 1)), np.tile(centre, (len(leans), 1))
    n, m = len(tip), len(LENGTHS_MM)
    length = np.tile(LENGTHS_MM, n)
    tip, out, centre = (np.repeat(a, m, 0) for a in (tip, out, centre))
    tilt = np.abs(np.degrees(np.arctan2(np.abs(out[:, 1]), np.abs(out[:, 0]))) - 50)
    cost = np.repeat(cost, m) + 0.22 * length + 0.03 * np.maximum(tilt - 15, 0) + 3.0 * (tilt > 42)
    return _Trials(tip, tip + out * length[:, None], out[:, 0] >= 0, centre, cost)


def _starts(t: _Trials, part: NDArray[np.int64], room: float) -> Array:
    """Left ends of the shelves."""
    out: Array = t.elbow[part] - np.where(t.right[part], 0.0, room)[:, None] * np.array([1.0, 0.0])
    return out


def _price(
    t: _Trials,
    part: NDArray[np.int64],
    caption: Caption,
    stacked: bool,
    ground: Ground,
    board: Board,
    low: Array,
    high: Array,
    clear_mm: float,
) -> Array:
    room = caption.width_mm(stacked)
    start = _starts(t, part, room)
    words = caption.boxes(start, 0.0, stacked, clear_mm)
    shelf = np.hstack([start, start + np.array([room, 0.0])])
    way = t.elbow[part] - t.tip[part]
    away = way / np.hypot(*way.T)[:, None]
    run = np.hstack([t.tip[part] + 0.3 * away, t.elbow[part]])
    cost = np.full(len(part), np.inf)
    some = np.flatnonzero(board.box_free(words))
    some = some[board.line_free(run[some]) & board.line_free(shelf[some])]
    for letters in caption.letter_boxes(start, stacked, 0.25):
        some = some[~np.diag(line_meets_box(run[some], letters[some]))]
    if not len(some):
        return cost
    part, words, shelf, run = part[some], words[some], shelf[some], run[some]
    price = t.cost[part] + (0.8 if stacked else 0.0)
    if len(board.tips):
        apart = np.hypot(*(t.tip[part][:, None] - board.tips[None]).transpose(2, 0, 1)).min(1)
        price += 3.0 * (apart < CROWD_MM)
    price += board.crossings(run, CROSSING) + 2 * board.crossings(shelf, CROSSING)
    corners = words[:, None, :2] + words[:, None, 2:4] * _SIGNS
    within = ground.within(corners)
    solid = ground.solid(words[:, :2])
    price += np.where(within.any(1), np.where(within.all(1) & solid, 3.0, 8.0), 0.0)
    share = (np.arange(8)[:, None] + 0.5) / 8
    on = run[:, None, :2] + share * (run[:, None, 2:] - run[:, None, :2])
    price += 0.3 * ground.solid(on).mean(1) * np.hypot(*(run[:, 2:] - run[:, :2]).T)
    beyond = np.maximum(low - corners.min(1), 0).sum(1) + np.maximum(corners.max(1) - high, 0).sum(1)
    cost[some] = price + 0.12 * beyond
    return cost


_SIGNS = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])


def _draw(wanted: PlannedDimension, caption: Caption, t: _Trials, i: int, stacked: bool, board: Board) -> Drawn:
    room = caption.width_mm(stacked)
    start = _starts(t, np.array([i]), room)[0]
    tip, elbow, centre = t.tip[i], t.elbow[i], t.centre[i]
    end = start + np.array([room, 0.0]) if t.right[i] else start
    away = math.atan2(*(elbow - tip)[::-1])
    path = Path(tuple((float(x), float(y), 0.0) for x, y in (tip, elbow, end)), "DIMENSIONS", NARROW)
    marks: list[Mark] = [path, arrow(_point(tip), away + math.pi), *caption.marks(_point(start), 0.0, stacked)]
    board.draw(np.array([[*tip, *elbow], [*elbow, *end]]), What.LEADER)
    u = (elbow - tip) / np.hypot(*(elbow - tip))
    head = tip + ARROW_MM / 2 * u
    board.tips = np.vstack([board.tips, tip])
    board.write(np.array([[*head, ARROW_MM / 2, 0.5, away]]))
    board.write(caption.boxes(start[None], 0.0, stacked, 0.3))
    text_at = (float(start[0] + room / 2), float(start[1] + 2.5))
    points = (_point(centre), _point(tip), _point(elbow), _point(end))
    return Drawn(wanted, caption, tuple(marks), points, text_at)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
