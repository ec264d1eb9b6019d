"""What every operation of the interface shares, added to the schema in one place: its problems and its headers."""

from typing import Any

from estimating.service.problems import MEDIA_TYPE

PROBLEM = {
    "type": "object",
    "description": "RFC 9457 problem details; `errors` has one entry for each fault.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "read", "expected", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "RFC 6901 pointer into the body"},
                    "read": {"description": "what was read, cut where it is long"},
                    "expected": {"type": "string"},
                    "detail": {"type": "string"},
                    "parameter": {"type": "string", "description": "name of the query parameter, where it is one"},
                },
            },
        },
    },
}


def _header(name: str, description: str, *, required: bool = False) -> dict[str, Any]:
    told = {"in": "header", "name": name, "description": description, "required": required}
    return {**told, "schema": {"type": "string"}}


RETRY = _header("Idempotency-Key", "a retry with the same key and body has no second effect; kept for 24 h")
MATCH = _header("If-Match", "the ETag that was read; 428 without, 412 where it is no longer so", required=True)
KNOWN = _header("If-None-Match", "the ETag that was read; 304 where it is still so")


def add_what_all_share(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Postprocessing hook of the schema's generator."""
    result["components"].setdefault("schemas", {})["Problem"] = PROBLEM
    for path, methods in result["paths"].items():
        single = path.endswith("}")
        for method, operation in methods.items():
            told = {"content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}}
            operation["responses"]["default"] = {"description": "a problem, with every fault", **told}
            headers = []
            if method == "post" and operation.get("security") != [{}] and "security" in operation:
                headers.append(RETRY)
            if single and method in ("put", "patch", "delete"):
                headers.append(MATCH)
            if single and method == "get":
                headers.append(KNOWN)
            named = {parameter["name"] for parameter in operation.get("parameters", [])}
            added = [header for header in headers if header["name"] not in named]
            if added:
                operation["parameters"] = [*operation.get("parameters", []), *added]
    return result
