"""What is to be bought: the list of a revision, by supplier and with its delivery, and never a price on it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from quotes.recipe_lines import in_words

COLUMNS = ("supplier", "sku", "description", "order", "unit", "net", "waste", "spare", "item", "basis", "weight_lb",
           "delivery")


def material_list(snapshot: Mapping[str, Any]) -> bytes:
    """What is to be bought, as CSV in UTF-8, a row an item; no prices, so that the crew may have it.

    `weight_lb` is of the whole order, `delivery` the order that it comes with; both empty for what no framing counts.
    """
    out = io.StringIO(newline="")
    rows = csv.writer(out)
    rows.writerow(COLUMNS)
    rows.writerows([_cell(row[name] or "") if name in ("weight_lb", "delivery") else _cell(row[name])
                    for name in COLUMNS] for row in _rows(snapshot))
    return out.getvalue().encode()


def _rows(snapshot: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Everything that is bought, in the order of the estimate."""
    framing = snapshot.get("framing") or {}
    weights = {row["item"]: round(row.get("weight") or 0) for row in framing.get("quantities") or ()}
    deliveries = {item: bundle["order"] for bundle in (framing.get("lifts") or {}).get("bundles", ())
                  for item in bundle["items"]}
    for line in snapshot["estimate"]["lines"]:
        if line["kind"] == "material":
            came = line["came_from"]
            counted = came.get("framing", "/").startswith("/")  # what no framing counts has no weight and lift there
            yield {
                **{name: came[name] for name in ("supplier", "sku", "net", "waste", "spare", "basis")},
                "description": line["description"], "item": line["item"], "order": line["quantity"],
                "unit": line["unit"], "unit_in_words": in_words(line["unit"]),
                "weight_lb": weights.get(line["item"]) if counted else None,
                "delivery": deliveries.get(line["item"]) if counted else None,
            }


def _cell(value: Any) -> str:
    """A cell that no spreadsheet takes for a formula."""
    text = str(value if value is not None else "")
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def supplies(snapshot: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The same list for people: a supplier's goods under the delivery that they come with, first delivery first."""
    framing = snapshot.get("framing") or {}
    deliveries = [row["order"] for row in (framing.get("lifts") or {}).get("deliveries", ())]
    found: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for row in _rows(snapshot):
        found.setdefault(row["supplier"] or "Supplier not named", {}).setdefault(row["delivery"] or "", []).append(row)
    return [{"name": name, "deliveries": [_delivery(order, by_order[order]) for order in (*deliveries, "")
                                          if order in by_order]}
            for name, by_order in sorted(found.items())]


def _delivery(order: str, rows: list[dict[str, Any]]) -> dict[str, Any]:
    return {"order": order, "rows": rows, "weight": sum(row["weight_lb"] or 0 for row in rows)}
