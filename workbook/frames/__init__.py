"""Raw frames, made from stars and light, as a camera would write them; measured, aligned and stacked.

`raw_frame` puts everything together; its parts are at hand for lessons that need one step alone: places on
the sensor, paths, shapes, drawing, the smooth patch of a galaxy, the camera, FITS files. `find_stars` and
`sky_of_frame` measure a frame, `stack_subs` and `stack_files` make one picture of many, `walking_noise` shows what
a fixed pattern does to it.

Pictures are arrays [row, column]. A place is (x_px, y_px), x to the right along a row, y up through the rows,
counted from the middle of the first pixel: show them with row 0 at the bottom. FITS counts from 1 instead.
"""

from workbook.frames.align import Alignment, AlignmentError, align_stars, known_shift
from workbook.frames.camera import Sensor, mosaic_light, read_out
from workbook.frames.combine import Combined, combine_subs
from workbook.frames.course import NoiseCourse, noise_course
from workbook.frames.fast_drawing import draw_stars
from workbook.frames.files import Frame, FrameFileError, read_frame, write_frame
from workbook.frames.finder import Stars, find_stars
from workbook.frames.intruders import (
    cosmic_rays_e,
    satellite_trail_e,
    subs_to_remove_trail,
    trail_left_sigmas,
)
from workbook.frames.measure import (
    ClippedStatistics,
    FrameSky,
    background_map_adu,
    clipped_statistics,
    colour_planes,
    sky_electrons_s_px,
    sky_of_frame,
)
from workbook.frames.patch import elliptical_patch_e_px
from workbook.frames.paths import Paths, Shift, mount_shift_px, sample_times_s, star_paths_px
from workbook.frames.pattern import dark_pattern_e_s_px, sub_shifts_px
from workbook.frames.placing import Pointing, sensor_places_px
from workbook.frames.resample import area_noise, resample_tile
from workbook.frames.shapes import Shapes, round_shapes_px2, shapes_from_um2
from workbook.frames.simulate import raw_frame
from workbook.frames.stack import Stack, measure_alignments, stack_subs
from workbook.frames.stack_files import StackJob, stack_files, write_stack
from workbook.frames.walking import WalkingNoise, dither_needed_px, live_stack, streak_ratio, walking_noise

__all__ = [
    "Alignment",
    "AlignmentError",
    "ClippedStatistics",
    "Combined",
    "Frame",
    "FrameFileError",
    "FrameSky",
    "NoiseCourse",
    "Paths",
    "Pointing",
    "Sensor",
    "Shapes",
    "Shift",
    "Stack",
    "StackJob",
    "Stars",
    "WalkingNoise",
    "align_stars",
    "area_noise",
    "background_map_adu",
    "clipped_statistics",
    "colour_planes",
    "combine_subs",
    "cosmic_rays_e",
    "dark_pattern_e_s_px",
    "dither_needed_px",
    "draw_stars",
    "elliptical_patch_e_px",
    "find_stars",
    "known_shift",
    "live_stack",
    "measure_alignments",
    "mosaic_light",
    "mount_shift_px",
    "noise_course",
    "raw_frame",
    "read_frame",
    "read_out",
    "resample_tile",
    "round_shapes_px2",
    "sample_times_s",
    "satellite_trail_e",
    "sensor_places_px",
    "shapes_from_um2",
    "sky_electrons_s_px",
    "sky_of_frame",
    "stack_files",
    "stack_subs",
    "star_paths_px",
    "streak_ratio",
    "sub_shifts_px",
    "subs_to_remove_trail",
    "trail_left_sigmas",
    "walking_noise",
    "write_frame",
    "write_stack",
]
