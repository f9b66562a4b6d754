"""Every address, from the top: the API with its description and docs page, the pages, and what watches."""

from allauth.account.decorators import secure_admin_login
from csp.constants import SELF, UNSAFE_INLINE
from csp.decorators import csp_update
from django.contrib import admin
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from training.web import health

# The docs page's own bundle sets styles and draws small pictures inline; scripts stay this server's files
# alone.
docs = csp_update({"style-src": [SELF, UNSAFE_INLINE], "img-src": [SELF, "data:"]})(
    SpectacularSwaggerSplitView.as_view(url_name="schema")
)

# One door: the login page, with its limits and second factors.
admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]

urlpatterns = [
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/docs/", docs, name="docs"),
    path("api/v1/", include("api.v1.urls")),
    path("admin/", admin.site.urls),
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("metrics", health.metrics, name="metrics"),
    path("", include("training.web.urls")),
]

handler400 = "training.config.error_pages.bad_request"
handler403 = "training.config.error_pages.permission_denied"
handler404 = "training.config.error_pages.page_not_found"
handler500 = "training.config.error_pages.server_error"
