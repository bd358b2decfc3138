"""A process of its own that moves and presses the pointer through the X server (XTest).

Reads commands from standard input, one a line, and answers each with the monotonic time just
before it was sent: ``move X Y``, ``down``, ``up``, ``key CODE``, ``unfocus``, which takes the
keyboard from every window, ``minimise``, which makes an icon of the window that has it,
``restore``, which brings that back, ``place FILE``, which writes where it is, ``picture FILE``,
which writes what is seen, ``size WIDTH HEIGHT``, which turns the screen or changes its size,
``probe X Y``, which presses and answers with the time until the pixel there looks different
(0 if it never does), and ``stream RATE SECONDS FILE``, which moves the pointer at a fixed rate
and writes all times to the file.
"""

import ctypes
import json
import math
import sys
import time

x11 = ctypes.CDLL("libX11.so.6")
xtst = ctypes.CDLL("libXtst.so.6")
x11.XOpenDisplay.restype = ctypes.c_void_p
x11.XOpenDisplay.argtypes = [ctypes.c_char_p]
x11.XFlush.argtypes = [ctypes.c_void_p]
x11.XSetInputFocus.argtypes = [
    ctypes.c_void_p, ctypes.c_ulong, ctypes.c_int, ctypes.c_ulong,
]  # fmt: skip
xtst.XTestFakeMotionEvent.argtypes = [
    ctypes.c_void_p, ctypes.c_int, ctypes.c_int, ctypes.c_int, ctypes.c_ulong,
]  # fmt: skip
xtst.XTestFakeButtonEvent.argtypes = [
    ctypes.c_void_p, ctypes.c_uint, ctypes.c_int, ctypes.c_ulong,
]  # fmt: skip
xtst.XTestFakeKeyEvent.argtypes = xtst.XTestFakeButtonEvent.argtypes


class Image(ctypes.Structure):
    _fields_ = [
        *((name, ctypes.c_int) for name in ("width", "height", "xoffset", "format")),
        ("data", ctypes.c_void_p),
        *((name, ctypes.c_int) for name in ("order", "unit", "bits", "pad", "depth")),
        ("bytes_per_line", ctypes.c_int),
    ]


class Size(ctypes.Structure):
    _fields_ = [(name, ctypes.c_int) for name in ("width", "height", "width_mm", "height_mm")]


def set_size(display, width, height):
    """Give the screen another of its sizes, as the X resize extension does."""
    xrandr = ctypes.CDLL("libXrandr.so.2")
    xrandr.XRRGetScreenInfo.restype = ctypes.c_void_p
    xrandr.XRRConfigSizes.restype = ctypes.POINTER(Size)
    x11.XDefaultRootWindow.restype = ctypes.c_ulong
    root = ctypes.c_ulong(x11.XDefaultRootWindow(ctypes.c_void_p(display)))
    held = ctypes.c_void_p(xrandr.XRRGetScreenInfo(ctypes.c_void_p(display), root))
    number = ctypes.c_int()
    sizes = xrandr.XRRConfigSizes(held, ctypes.byref(number))
    wanted = [(sizes[i].width, sizes[i].height) for i in range(number.value)]
    index = wanted.index((width, height))
    upright = ctypes.c_ushort(1)
    xrandr.XRRSetScreenConfig(
        ctypes.c_void_p(display), held, root, index, upright, ctypes.c_ulong(0)
    )


def focused(display):
    """The window that has the keyboard."""
    window, _ = ctypes.c_ulong(), ctypes.c_int()
    x11.XGetInputFocus(ctypes.c_void_p(display), ctypes.byref(window), ctypes.byref(_))
    return window.value


def save_place(display, path):
    """Write left, top, width and height of the window that has the keyboard, and of all."""
    x11.XDefaultRootWindow.restype = ctypes.c_ulong
    window = ctypes.c_ulong(focused(display))
    own = ctypes.c_ulong()
    root = ctypes.c_ulong(x11.XDefaultRootWindow(ctypes.c_void_p(display)))
    x, y = ctypes.c_int(), ctypes.c_int()
    x11.XTranslateCoordinates(
        ctypes.c_void_p(display), window, root, 0, 0,
        ctypes.byref(x), ctypes.byref(y), ctypes.byref(own),
    )  # fmt: skip
    found = [x.value, y.value]
    for which in (window, root):
        sides = [ctypes.c_uint() for _ in range(6)]
        x11.XGetGeometry(
            ctypes.c_void_p(display), which, ctypes.byref(own), *map(ctypes.byref, sides)
        )
        found += [sides[2].value, sides[3].value]
    with open(path, "w") as file:  # noqa: PTH123  # this process imports as little as it can
        json.dump(found, file)


def save_picture(display, path):
    """Write what the whole screen shows, as bytes."""
    x11.XDefaultRootWindow.restype = ctypes.c_ulong
    x11.XGetImage.restype = ctypes.POINTER(Image)
    root = ctypes.c_ulong(x11.XDefaultRootWindow(ctypes.c_void_p(display)))
    sides = [ctypes.c_uint() for _ in range(6)]
    own = ctypes.c_ulong()
    x11.XGetGeometry(
        ctypes.c_void_p(display), root, ctypes.byref(own), *map(ctypes.byref, sides)
    )
    image = x11.XGetImage(
        ctypes.c_void_p(display), root, 0, 0, sides[2], sides[3], ctypes.c_ulong(2**32 - 1), 2
    )
    found = image.contents
    with open(path, "wb") as file:  # noqa: PTH123  # this process imports as little as it can
        file.write(ctypes.string_at(found.data, found.bytes_per_line * found.height))


def pixel(display, x, y):
    """What one pixel of the screen looks like."""
    x11.XDefaultRootWindow.restype = ctypes.c_ulong
    x11.XGetImage.restype = ctypes.POINTER(Image)
    x11.XDestroyImage.argtypes = [ctypes.POINTER(Image)]
    root = ctypes.c_ulong(x11.XDefaultRootWindow(ctypes.c_void_p(display)))
    image = x11.XGetImage(
        ctypes.c_void_p(display), root, x, y, 1, 1, ctypes.c_ulong(2**32 - 1), 2
    )
    seen = ctypes.string_at(image.contents.data, 3)
    x11.XDestroyImage(image)
    return seen


def probe(display, x, y):
    """Press, and return how long a pixel takes to change, ns; 0 if it does not in a second."""
    before = pixel(display, x, y)
    begun_ns = time.perf_counter_ns()
    xtst.XTestFakeButtonEvent(display, 1, 1, 0)
    x11.XFlush(display)
    took_ns = 0
    while took_ns < 1_000_000_000:
        changed = pixel(display, x, y) != before
        took_ns = time.perf_counter_ns() - begun_ns
        if changed:
            return took_ns
    return 0


def stream(display, rate_hz, seconds, path):
    """Move on a fixed schedule; neighbouring places differ, so reports are known again."""
    n = int(rate_hz * seconds)
    sent = []
    begun_ns = time.perf_counter_ns() + 50_000_000
    for i in range(n):
        wait_ns = begun_ns + int(i * 1e9 / rate_hz) - time.perf_counter_ns()
        if wait_ns > 0:
            time.sleep(wait_ns * 1e-9)
        x = int(640 + 500 * math.sin(2 * math.pi * 5 * i / rate_hz))
        y = 100 + i % 600
        sent.append((time.perf_counter_ns(), x, y))
        xtst.XTestFakeMotionEvent(display, -1, x, y, 0)
        x11.XFlush(display)
    with open(path, "w") as file:  # noqa: PTH123  # this process imports as little as it can
        json.dump(sent, file)


def main():
    display = x11.XOpenDisplay(None)
    if not display:
        sys.exit("no display")
    print("ready", flush=True)
    window = 0
    for line in sys.stdin:
        words = line.split()
        now_ns = time.perf_counter_ns()
        if words[0] == "move":
            xtst.XTestFakeMotionEvent(display, -1, int(words[1]), int(words[2]), 0)
        elif words[0] in ("down", "up"):
            xtst.XTestFakeButtonEvent(display, 1, words[0] == "down", 0)
        elif words[0] == "key":
            for pressed in (1, 0):
                xtst.XTestFakeKeyEvent(display, int(words[1]), pressed, 0)
        elif words[0] == "unfocus":
            x11.XSetInputFocus(display, 0, 0, 0)
        elif words[0] == "minimise":
            window = focused(display)
            x11.XIconifyWindow(ctypes.c_void_p(display), ctypes.c_ulong(window), 0)
        elif words[0] == "restore":
            x11.XMapWindow(ctypes.c_void_p(display), ctypes.c_ulong(window))
        elif words[0] == "picture":
            save_picture(display, words[1])
        elif words[0] == "place":
            save_place(display, words[1])
        elif words[0] == "size":
            set_size(display, int(words[1]), int(words[2]))
        elif words[0] == "probe":
            now_ns = probe(display, int(words[1]), int(words[2]))
        elif words[0] == "stream":
            stream(display, float(words[1]), float(words[2]), words[3])
        x11.XFlush(display)
        print(now_ns, flush=True)


if __name__ == "__main__":
    main()
