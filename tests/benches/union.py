"""The union of shells by manifold3d, a general Boolean library, for comparison.

usage: union.py SHELL.stl SHELL.stl ...    (binary STL; needs manifold3d, which brings numpy)
Prints: version, seconds to read and weld, seconds to build, the shortest of five times for the
union with its area, and that area. Says nothing and ends with status 3 where manifold3d is not there.
"""
import sys
import time
from importlib.metadata import version

try:
    import manifold3d
    import numpy
except ImportError:
    sys.exit(3)

RECORD = numpy.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("word", "<u2")])


def mesh(path):
    with open(path, "rb") as file:
        corners = numpy.frombuffer(file.read()[84:], RECORD)["corners"].reshape(-1, 3)
    unique, numbers = numpy.unique(corners, axis=0, return_inverse=True)
    return manifold3d.Mesh(unique, numbers.reshape(-1, 3).astype(numpy.uint32))


def timed(act):
    begun = time.perf_counter()
    done = act()
    return time.perf_counter() - begun, done


def area(shells):
    union = manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add)
    return union.surface_area()


reading, meshes = timed(lambda: [mesh(path) for path in sys.argv[1:]])
building, shells = timed(lambda: [manifold3d.Manifold(one) for one in meshes])
assert all(one.status() == manifold3d.Error.NoError for one in shells)
unions = [timed(lambda: area(shells)) for _ in range(5)]
shortest, found = min(unions)
print(version("manifold3d"), reading, building, shortest, found)
