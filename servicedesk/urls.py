"""Where every address leads."""

from django.contrib import admin
from django.urls import include, path

from servicedesk.api import api
from servicedesk.views import (
    due_list,
    figures,
    findings,
    keys,
    letters,
    metrics,
    phone,
    promises,
    ready,
    season,
    second,
    sheets,
    start,
    to_buy,
)

handler404 = "servicedesk.views.nothing.nothing_here"

urlpatterns = [
    path("", start.start, name="start"),
    path("alive/", ready.alive, name="alive"),
    path("ready/", ready.page, name="ready"),
    path("metrics/", metrics.page, name="metrics"),
    path("worker.js", phone.worker, name="worker"),
    path("no-signal/", phone.no_signal, name="no-signal"),
    path("sign-in/", start.sign_in, name="sign-in"),
    path("sign-in/link/", start.sign_in_by_link, name="sign-in-by-link"),
    path("sign-out/", start.sign_out, name="sign-out"),
    path("second/", second.page, name="second"),
    path("second/set-up/", second.set_up, name="second-set-up"),
    path("keys/", keys.page, name="keys"),
    path("keys/<int:pk>/withdrawn/", keys.withdrawn, name="key-withdrawn"),
    path("units/", start.choose_units, name="units"),
    path("due/", due_list.page, name="due-list"),
    path("due/due.csv", due_list.sheet, name="due-sheet"),
    path("are-our-dates-right/", promises.page, name="promises"),
    path("filters-to-buy/", to_buy.page, name="to-buy"),
    path("filters-to-buy/sheet.csv", to_buy.sheet, name="to-buy-sheet"),
    path("figures/", figures.page, name="figures"),
    path("figures/figures.csv", figures.sheet, name="figures-sheet"),
    path("season/", season.page, name="season"),
    path("findings/", findings.page, name="findings"),
    path("findings/seen/<int:pk>/settled/", findings.settled, name="defect-settled"),
    path("findings/told/<int:pk>/judged/", findings.judged, name="entry-judged"),
    path("letters/", letters.outbox, name="outbox"),
    path("letters/<int:pk>/", letters.message, name="message"),
    path("letters/<int:pk>/look/", letters.look, name="message-look"),
    path("letters/<int:pk>/judged/", letters.judged, name="letter-judged"),
    path("letters/rested/<int:pk>/lifted/", letters.lifted, name="address-lifted"),
    path("to-ring/", letters.call_list, name="call-list"),
    path("sheets/", sheets.page, name="sheets"),
    path("sheets/everything.zip", sheets.everything, name="sheets-zip"),
    path("api/v1/", api.urls),
    path("admin/", admin.site.urls),
    path("", include("schedules.urls")),
]
