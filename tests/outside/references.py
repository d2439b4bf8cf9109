"""Image files written and read by programs that share no code with Besom.

OpenImageIO (wheel `OpenImageIO`) and ffmpeg (wheel `imageio-ffmpeg`) are the two. Values are native codes: 0..1023 for a
10-bit file, the bits of a half for OpenEXR, never a value scaled for display.
"""

import subprocess
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import OpenImageIO as oiio

FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()


def widen(codes, bits):
    """Codes of `bits` bits as OpenImageIO keeps them: the full range of 16 bits, high bits repeated in the low ones."""
    codes = codes.astype(np.uint16)
    return codes if bits == 16 else (codes << (16 - bits)) | (codes >> (2 * bits - 16))


def write(path, pixels, bits=None, **attributes):
    """Writes height x width x channels through OpenImageIO; `bits` (10 or 12) marks a DPX narrower than 16 bits."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    height, width, channels = pixels.shape
    kind = {"uint8": oiio.UINT8, "uint16": oiio.UINT16, "float16": oiio.HALF}[pixels.dtype.name]
    spec = oiio.ImageSpec(width, height, channels, kind)
    if bits:
        spec.attribute("oiio:BitsPerSample", bits)
        pixels = widen(pixels, bits)
    for name, value in attributes.items():
        spec.attribute(name.replace("__", ":"), value)
    out = oiio.ImageOutput.create(str(path))
    assert out and out.open(str(path), spec), oiio.geterror()
    assert out.write_image(np.ascontiguousarray(pixels)), out.geterror()
    out.close()


def write_dpx10(path, codes, endian="big", packing="Filled, method A"):
    """A 10-bit RGB DPX as scanners write it; `codes` are 0..1023."""
    write(path, codes.astype(np.uint16), 10, dpx__Packing=packing, oiio__Endian=endian)


def read_oiio(path):
    """Native codes of the first image in the file, height x width x channels."""
    image = oiio.ImageInput.open(str(path))
    assert image, oiio.geterror()
    spec = image.spec()
    bits = spec.get_int_attribute("oiio:BitsPerSample", 0)
    pixels = image.read_image(0, 0, 0, spec.nchannels, oiio.UNKNOWN)
    image.close()
    assert pixels is not None, f"OpenImageIO could not read {path}"
    if pixels.dtype == np.uint16 and bits in (10, 12):
        pixels = pixels >> (16 - bits)
    return pixels


def header_oiio(path):
    """Every attribute that OpenImageIO finds in the file's header, by name."""
    image = oiio.ImageInput.open(str(path))
    assert image, oiio.geterror()
    spec = image.spec()
    facts = {a.name: a.value for a in spec.extra_attribs}
    facts.update(width=spec.width, height=spec.height, channels=spec.nchannels, format=str(spec.format))
    image.close()
    return facts


def read_ffmpeg(path, pixel_format, width, height):
    """Native codes through ffmpeg. `pixel_format` must be the file's own, else ffmpeg converts."""
    raw = ffmpeg("-i", str(path), "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", pixel_format, "-")
    if pixel_format.startswith("gbrp"):
        planes = np.frombuffer(raw, "<u2").reshape(3, height, width)
        return np.stack([planes[2], planes[0], planes[1]], axis=-1)
    kind = {"rgb24": "u1", "rgb48be": ">u2", "rgb48le": "<u2"}[pixel_format]
    return np.frombuffer(raw, kind).reshape(height, width, 3).astype(kind.replace(">", "<"))


def ffmpeg(*arguments, stdin=None):
    """Runs ffmpeg and returns what it wrote to its standard output."""
    done = subprocess.run([FFMPEG, "-v", "error", *arguments], input=stdin, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    return done.stdout


def write_dpx_ffmpeg(path, codes, pixel_format="gbrp10le"):
    """A DPX written by ffmpeg: its picture begins at byte 1664, where others keep the film header."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    height, width, _ = codes.shape
    if pixel_format.startswith("gbrp"):
        raw = np.stack([codes[..., 1], codes[..., 2], codes[..., 0]]).astype("<u2").tobytes()
    else:
        raw = codes.astype({"rgb48be": ">u2", "rgb48le": "<u2", "rgb24": "u1"}[pixel_format]).tobytes()
    ffmpeg("-y", "-f", "rawvideo", "-pix_fmt", pixel_format, "-s", f"{width}x{height}", "-i", "-",
           "-pix_fmt", pixel_format, str(path), stdin=raw)
