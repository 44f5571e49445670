"""A film as the bytes of a GIF or an MP4 file, frame by frame."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import numpy as np
from matplotlib.colors import to_rgb

from metersim.files.faults import Parameter, bad
from metersim.questions.animate.figure import Frames
from metersim.questions.animate.scene import DPI, HIGH, WIDE
from metersim.questions.animate.study import Film
from metersim.questions.shared.progress import bar
from metersim.questions.shared.style import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    PALE,
    POOL,
    QUIET,
    SKY,
    WARM,
    WHITE,
)

GIF_FRAME = 80  # ms, 12.5 frames a second
MP4_RATE = 25  # frames a second
LAST_FRAME = 1500  # ms, of a GIF that begins again


def times_of(film: Film, per_second: float) -> list[float]:
    """Times of the run at which the frames of a film are drawn, at a rate of the film [1/s]. [s]"""
    many = max(round(film.seconds * per_second), 1)
    times: list[float] = np.linspace(film.start, film.end, many, endpoint=False).tolist()
    return times


def as_gif(film: Film, units: str = "metric") -> bytes:
    """A film as an endless GIF with one palette; the same film gives the same bytes."""
    from PIL import Image  # comes with matplotlib

    frames, times = Frames(film, units), times_of(film, 1000 / GIF_FRAME)
    palette = Image.new("P", (1, 1))
    palette.putpalette(_palette())
    drawn = []
    with bar(len(times), "frame") as done:
        for time in times:
            image = Image.fromarray(frames.image(time))
            drawn.append(image.quantize(palette=palette, dither=Image.Dither.NONE))
            done(len(drawn))
    written = io.BytesIO()
    lasts = [GIF_FRAME] * (len(drawn) - 1) + [LAST_FRAME]
    drawn[0].save(written, "GIF", save_all=True, append_images=drawn[1:], duration=lasts, loop=0)
    return written.getvalue()


def _palette() -> list[int]:
    """The colours of the drawing, and blends of each with each ground, as numbers from 0 to 255."""
    grounds = [to_rgb(colour) for colour in (WHITE, FAINT, POOL, INK)]
    marks = [to_rgb(colour) for colour in (INK, QUIET, PALE, BLUE, SKY, WARM, GREEN)]
    made = [
        tuple(round(255 * (share * a + (1 - share) * b)) for a, b in zip(mark, ground, strict=True))
        for mark in marks
        for ground in grounds
        for share in (1.0, 0.75, 0.5, 0.25, 0.0)
    ]
    return [part for colour in dict.fromkeys(made) for part in colour]


def as_mp4(film: Film, units: str = "metric") -> bytes:
    """A film as MP4, made by ffmpeg; raises `BadInput` where ffmpeg fails."""
    from subprocess import CalledProcessError

    from matplotlib.animation import FFMpegWriter
    from matplotlib.figure import Figure

    frames, times = Frames(film, units), times_of(film, MP4_RATE)
    figure = Figure(figsize=(WIDE, HIGH), dpi=DPI)
    shown = figure.figimage(frames.image(times[0]))
    exact = ["-pix_fmt", "yuv420p", "-bitexact"]
    writer = FFMpegWriter(fps=MP4_RATE, codec="h264", extra_args=exact)
    with tempfile.TemporaryDirectory() as folder, bar(len(times), "frame") as done:
        path = Path(folder) / "film.mp4"
        try:
            with writer.saving(figure, path, DPI):
                for k, time in enumerate(times, start=1):
                    shown.set_data(frames.image(time))
                    writer.grab_frame()
                    done(k)
            return path.read_bytes()
        except (CalledProcessError, OSError) as error:
            raise bad(Parameter("out"), "", f"ffmpeg could not make it: {error}") from None
