"""Errors for programs, as RFC 9457 has them."""

from typing import Any

from django.http import HttpResponse, JsonResponse


def problem(status: int, title: str, detail: str = "", **more: Any) -> HttpResponse:
    """The answer: what it is called, what was wrong, and whatever else helps."""
    body = {"type": "about:blank", "title": title, "status": status, **({"detail": detail} if detail else {})}
    return JsonResponse(body | more, status=status, content_type="application/problem+json")
