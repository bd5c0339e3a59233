"""Answers to text messages come in here from the service that carries them."""

import json
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.views.decorators.csrf import csrf_exempt

from schedules import texts

LARGEST_BYTES = 20_000


@csrf_exempt
def come_in(request: HttpRequest) -> HttpResponse:
    """``{"from": NUMBER, "text": WORDS}`` with the desk's secret as a bearer's; a word that ends messages
    ends them. 401 for another secret or where none is set, 400 for what is none of this."""
    said, secret = request.headers.get("Authorization", ""), settings.TEXTS_SECRET
    if not secret or not constant_time_compare(said, f"Bearer {secret}"):
        return HttpResponse(status=401)
    try:
        told: Any = json.loads(request.body[:LARGEST_BYTES])
        number, words = str(told["from"]), str(told["text"])
    except (ValueError, KeyError, TypeError):
        return JsonResponse({"error": "send a JSON object with from and text"}, status=400)
    return JsonResponse({"stopped": texts.take_in(number, words, timezone.now())})
