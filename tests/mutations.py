"""Ways to spoil bytes and structures, the same for the same seed."""

import contextlib
import copy
import json
import random
import resource

MAX_BYTES = 3_000_000_000


def bytes_changed(data, random_source):
    """Flip, cut, repeat, zero or insert a few bytes."""
    changed = bytearray(data)
    for _ in range(random_source.choice((1, 1, 1, 3, 20))):
        if not changed:
            return b"x"
        at = random_source.randrange(len(changed))
        how = random_source.randrange(6)
        if how == 0:
            changed[at] ^= 1 << random_source.randrange(8)
        elif how == 1:
            del changed[at:]
        elif how == 2:
            changed[at:at] = changed[at : at + random_source.randrange(1, 200)]
        elif how == 3:
            end = min(len(changed), at + random_source.randrange(1, 64))
            changed[at:end] = bytes(end - at)
        elif how == 4:
            changed[at:at] = random_source.randbytes(random_source.randrange(1, 64))
        else:
            changed[at] = random_source.choice((0, 0x7F, 0x80, 0xFF))
    return bytes(changed)


ODD_VALUES = (
    None, True, False, 0, -1, 1, 2**31, 2**63, 2**64, 10**400, -(10**30), 0.5, 1e308, -1e308,
    float("nan"), float("inf"), "", "x", "../../../etc/passwd", "/etc/passwd", "\x00", "\ud800",
    "a" * 5000, "' OR 1=1 --", [], {}, [[]], [None], {"x": 1}, [1, 2, 3],
)  # fmt: skip


def json_changed(value, random_source):
    """Put an odd value in place of one somewhere in a structure, or drop or double a part."""
    value = json.loads(json.dumps(value))
    places = list(_places(value))
    if not places:
        return random_source.choice(ODD_VALUES)
    holder, key = random_source.choice(places)
    how = random_source.randrange(8)
    if how == 0:
        del holder[key]
    elif how == 1 and isinstance(holder, list):
        holder.insert(0, copy.deepcopy(holder[key]))
    elif how == 2 and isinstance(holder, dict):
        holder[random_source.choice(("extra", "../x", "person", "at_utc"))] = copy.deepcopy(
            holder[key]
        )
    elif how == 3:
        other, other_key = random_source.choice(places)
        holder[key] = copy.deepcopy(other[other_key])
    elif (
        how == 4 and isinstance(holder[key], int | float) and not isinstance(holder[key], bool)
    ):
        holder[key] = holder[key] * random_source.choice((-1, 2, 10**9, 0)) + 1
    else:
        holder[key] = random_source.choice(ODD_VALUES)
    return value


def _places(value):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield value, key
            yield from _places(inner)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield value, index
            yield from _places(inner)


def source(seed):
    """A source of random choices of one's own."""
    return random.Random(seed)


@contextlib.contextmanager
def limited_memory():
    """Let this process have so much address space and no more, so that a bomb is an error."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
        used = int(file.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + MAX_BYTES, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, before)
