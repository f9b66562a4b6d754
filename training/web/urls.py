"""The addresses of the pages."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from training.web import views

urlpatterns = [
    path("", views.home, name="home"),
    path("login/", views.Login.as_view(), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("milestones/", views.milestones, name="milestones"),
    path("students/<uuid:ref>/", views.student, name="student"),
]
