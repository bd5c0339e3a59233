"""Addresses of pages that show dates."""

from django.urls import path

from schedules.views import answer, day, dust, feed, filter, fits, hand_over, lookup, site, tasks, visits

urlpatterns = [
    path("find/", lookup.page, name="look-up"),
    path("filters/<int:pk>/", filter.page, name="filter"),
    path("filters/<int:pk>/what-fits/", fits.page, name="what-fits"),
    path("filters/<int:pk>/change/", filter.change, name="filter-change"),
    path("filters/<int:pk>/reading/", filter.reading, name="filter-reading"),
    path("sites/<int:pk>/", site.page, name="site"),
    path("sites/<int:pk>/event/", site.event, name="site-event"),
    path("sites/<int:pk>/person/", site.person, name="site-person"),
    path("sites/<int:pk>/visit/", site.book, name="site-visit"),
    path("sites/<int:pk>/dust/", site.dust, name="site-dust"),
    path("sites/<int:pk>/card/", site.card, name="card"),
    path("sites/<int:pk>/calendar/", site.new_feed, name="feed-new"),
    path("home/", site.home, name="home"),
    path("hand-over/", hand_over.page, name="hand-over"),
    path("answer/<str:token>/", answer.answer, name="answer"),
    path("stop/<str:token>/", answer.stop_mail, name="stop-mail"),
    path("calendar/<slug:secret>.ics", feed.calendar, name="feed"),
    path("visits/", visits.offers_page, name="visits"),
    path("visits/<int:pk>/", visits.page, name="visit"),
    path("visits/<int:pk>/book/", visits.book_page, name="visit-book"),
    path("visits/<int:pk>/complete/", visits.complete_page, name="visit-complete"),
    path("visits/<int:pk>/no-access/", visits.no_access_page, name="visit-no-access"),
    path("visits/<int:pk>/cancel/", visits.cancel_page, name="visit-cancel"),
    path("days/<int:technician>/<str:day>/", day.day_page, name="day"),
    path("days/<int:technician>/<str:day>/order/", day.order_page, name="day-order"),
    path("tasks/", tasks.page, name="tasks"),
    path("dust/", dust.page, name="dust"),
    path("dust/<int:pk>/close/", dust.close, name="dust-close"),
]
