"""All addresses of the studio."""

from django.contrib import admin
from django.urls import include, path

from studio.pages.overview import overview
from studio.pages.problem_pages import problem_list, problem_page
from studio.pages.sign_in import SignIn, SignOut

urlpatterns = [
    path("", overview, name="overview"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", SignOut.as_view(), name="sign-out"),
    path("api/problems/", problem_list, name="problem-list"),
    path("api/problems/<str:code>/", problem_page, name="problem"),
    path("", include("recipes.pages.urls")),
    path("api/", include("studio.api.urls")),
    path("admin/", admin.site.urls),
]

handler400 = "studio.pages.failures.bad_request"
handler403 = "studio.pages.failures.forbidden"
handler404 = "studio.pages.failures.not_found"
handler500 = "studio.pages.failures.failed"
