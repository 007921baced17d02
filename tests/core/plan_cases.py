"""Weeks of opening hours to draw from, and the largest assignment by two libraries."""

from datetime import date, timedelta

import networkx as nx
import numpy as np
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from stockroom.core.matching import serves
from stockroom.core.opening import DayException

hours_of_a_day = st.lists(st.integers(0, 48), min_size=0, max_size=4, unique=True).map(
    lambda halves: tuple((a * 30, b * 30) for a, b in zip(sorted(halves)[::2], sorted(halves)[1::2], strict=False))
)
weeks = st.tuples(*[hours_of_a_day] * 7)
changes = st.lists(
    st.builds(
        lambda day, is_open, a, length: DayException(
            date(2026, 3, 20) + timedelta(days=day), is_open, a * 15, min(1440, a * 15 + length * 15)
        ),
        st.integers(0, 20),
        st.booleans(),
        st.integers(0, 95),
        st.integers(1, 40),
    ),
    max_size=4,
).map(lambda them: [DayException(e.day, e.open, e.from_minute, e.to_minute, "", n) for n, e in enumerate(them)])
changing = st.sampled_from(
    ["Europe/Amsterdam", "America/St_Johns", "America/Santiago", "UTC", "Asia/Kathmandu", "Australia/Lord_Howe"]
)


def by_networkx(wants, options) -> int:
    graph = nx.Graph()
    graph.add_nodes_from(("want", i) for i in range(len(wants)))
    graph.add_nodes_from(("kit", k) for k in range(len(options)))
    pairs = [(i, k) for i, w in enumerate(wants) for k, o in enumerate(options) if serves(o, w)]
    graph.add_edges_from((("want", i), ("kit", k)) for i, k in pairs)
    found = nx.bipartite.hopcroft_karp_matching(graph, [("want", i) for i in range(len(wants))])
    return len(found) // 2


def by_scipy(wants, options) -> int:
    if not wants or not options:
        return 0
    table = np.array([[serves(o, w) for o in options] for w in wants], dtype=np.int8)
    return int((maximum_bipartite_matching(csr_matrix(table), perm_type="column") >= 0).sum())
