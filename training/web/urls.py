"""The addresses of the pages."""

from django.urls import include, path

from training.web import views

urlpatterns = [
    path("", views.home, name="home"),
    path("", include("training.web.accounts.urls")),
    path("milestones/", views.milestones, name="milestones"),
    path("students/<uuid:ref>/", views.student, name="student"),
]
