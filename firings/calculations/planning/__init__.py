"""The load planner: which piece goes into which firing, and where on which shelf it stands.

How it works, from the smallest thing to the largest:

- `places`: the exact places where one more footprint can stand on a shelf, by tangents, as arrays;
- `patterns`: sets of footprints on one shelf; each question "does this set fit" is answered once
  and remembered, and sets that almost fit are put down anew or squeezed together (`squeeze`);
- `towers`: layers upon each other; height comes in the steps of the posts;
- `recreate`, `ruin`, `anneal`: ware is taken out and put back better, again and again;
- `kind_search`, `schedule`, `queue_search`: the fewest firings of a queue, and their days;
- `load_search`: the best next load by a stated rule; `fitting`: whether a booking still fits;
- `columns`: what crew hold; `left_out`: why a piece stays out; `written`: the plan as records;
- `bounds`: how good any plan can be.

Nothing here looks at a clock: work is counted in steps, so an answer depends on the queue, the
seed and the number of steps, never on the machine.
"""
