"""Raw frames, made from stars and light, as a camera would write them.

`raw_frame` puts everything together; its parts are at hand for lessons that need one step alone: places on
the sensor, paths, shapes, drawing, the smooth patch of a galaxy, the camera, FITS files.

Pictures are arrays [row, column]. A place is (x_px, y_px), x to the right along a row, y up through the rows,
counted from the middle of the first pixel: show them with row 0 at the bottom. FITS counts from 1 instead.
"""

from workbook.frames.camera import Sensor, mosaic_light, read_out
from workbook.frames.fast_drawing import draw_stars
from workbook.frames.files import Frame, FrameFileError, read_frame, write_frame
from workbook.frames.patch import elliptical_patch_e_px
from workbook.frames.paths import Paths, Shift, mount_shift_px, sample_times_s, star_paths_px
from workbook.frames.placing import Pointing, sensor_places_px
from workbook.frames.shapes import Shapes, round_shapes_px2, shapes_from_um2
from workbook.frames.simulate import raw_frame

__all__ = [
    "Frame",
    "FrameFileError",
    "Paths",
    "Pointing",
    "Sensor",
    "Shapes",
    "Shift",
    "draw_stars",
    "elliptical_patch_e_px",
    "mosaic_light",
    "mount_shift_px",
    "raw_frame",
    "read_frame",
    "read_out",
    "round_shapes_px2",
    "sample_times_s",
    "sensor_places_px",
    "shapes_from_um2",
    "star_paths_px",
    "write_frame",
]
