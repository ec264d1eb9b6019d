"""Quotes and what becomes of them over HTTP, a module a subject; their addresses."""

from django.urls import include, path

urlpatterns = [path("", include(f"quotes.api.{name}")) for name in ("quotes", "impact", "proposals", "offers", "mails")]
