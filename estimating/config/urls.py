"""Every address of the service; each app lists its own."""

from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path, re_path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from estimating.service import endpoints, problems
from estimating.service.health import healthz

handler400 = "estimating.service.problems.bad_request"
handler404 = "estimating.service.problems.not_found"
handler500 = "estimating.service.problems.server_error"

urlpatterns = [
    path("healthz", healthz),
    path("api/v1/schema", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/docs", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="docs"),
    path("api/v1/", include(endpoints.urlpatterns)),
    path("api/v1/", include("estimating.api")),
    path("api/v1/", include("framing.api")),
    path("api/v1/", include("quotes.api")),
    re_path(r"^api/", problems.not_found),
    path("login/", LoginView.as_view(template_name="office/login.html"), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("admin/", admin.site.urls),
    path("proposal/", include("quotes.acceptance.pages")),
    path("waiting/", include("quotes.waiting_pages")),
    path("", include("quotes.pages")),
]
