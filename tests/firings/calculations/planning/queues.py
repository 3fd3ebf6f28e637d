"""Small invented queues for the tests of the planner."""

from datetime import date
from typing import Any

TODAY = date(2026, 3, 2)

KILN: dict[str, Any] = {
    "name": "small round kiln",
    "chamber": {"shape": "round", "diameter_mm": 450, "height_mm": 400},
    "keep_from_wall_mm": 25,
    "shelf_thickness_mm": 16,
    "stacks": [
        {
            "name": "whole",
            "shelf": {"shape": "round", "diameter_mm": 400},
            "shelves": 4,
            "posts_at_mm": [[0, 178], [-154.1, -89], [154.1, -89]],
        }
    ],
    "posts": {
        "heights_mm": [13, 25, 38, 50, 75, 100, 150],
        "stacked_at_most": 2,
        "width_mm": 38,
        "lowest_mm": 12.7,
    },
}
GAPS = {"glaze_mm": 6, "bisque_mm": 0, "to_posts_mm": 6, "above_mm": 10}


def piece(name: str, **fields: Any) -> dict[str, Any]:
    return {
        "id": name,
        "member": "m1",
        "kind": "bowl",
        "stage": "glaze",
        "cone": "6",
        "height_mm": 60,
        "ready_on": "2026-03-01",
        "due_on": None,
        **({} if "width_mm" in fields else {"diameter_mm": 120}),
        **fields,
    }


def queue_document(*pieces: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": "invented",
        "today": TODAY.isoformat(),
        "days_between_firings": 3,
        "kiln": KILN,
        "gaps": GAPS,
        "pieces": list(pieces),
    }
