"""Long histories drawn with few points, without losing their shape."""

from collections.abc import Sequence

Point = tuple[float, float]


def thinned_indices(points: Sequence[Point], n_kept: int) -> list[int]:
    """Choose which points of a line to draw: the first, the last and from each stretch the most telling one.

    The largest-triangle-three-buckets method (Steinarsson, "Downsampling Time Series for Visual Representation",
    University of Iceland 2013, section 4.2): from each of n-2 stretches of equal count the point that spans the
    largest triangle with the point chosen before it and the mean of the next stretch. O(n).
    """
    n_points = len(points)
    if n_points <= n_kept or n_kept < 3:
        return list(range(n_points))
    width = (n_points - 2) / (n_kept - 2)
    edges = [1 + int(width * bucket) for bucket in range(n_kept - 2)] + [n_points - 1]
    chosen = [0]
    for bucket in range(n_kept - 2):
        following = points[edges[bucket + 1] : edges[bucket + 2]] if bucket < n_kept - 3 else points[-1:]
        mean = (sum(x for x, _ in following) / len(following), sum(y for _, y in following) / len(following))
        previous = points[chosen[-1]]
        stretch = range(edges[bucket], edges[bucket + 1])
        chosen.append(max(stretch, key=lambda index: _double_area(previous, points[index], mean)))
    return [*chosen, n_points - 1]


def _double_area(a: Point, b: Point, c: Point) -> float:
    return abs((a[0] - c[0]) * (b[1] - a[1]) - (a[0] - b[0]) * (c[1] - a[1]))
