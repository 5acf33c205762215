"""Signing in and out, the password, and the page that founds an empty studio."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash, views
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.access import teacher_of
from studio.forms import NewPasswordForm, SetUpForm, SignInForm
from studio.founding import AlreadyFoundedError, found_studio, is_founded

_PLAIN_BACKEND = "django.contrib.auth.backends.ModelBackend"


class _SignIn(views.LoginView):
    form_class = SignInForm
    template_name = "studio/sign_in.html"
    redirect_authenticated_user = True

    def form_valid(self, form: SignInForm) -> HttpResponse:  # type: ignore[override]
        self.request.session.clear_expired()  # nothing else would ever take them out
        return super().form_valid(form)

    def form_invalid(self, form: SignInForm) -> HttpResponse:  # type: ignore[override]
        return self.render_to_response(self.get_context_data(form=form), status=422)


_sign_in = _SignIn.as_view()


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponseBase:
    if request.method != "POST" and not is_founded():
        return redirect("set_up")
    return _sign_in(request)


@login_not_required
@require_POST
def sign_out(request: HttpRequest) -> HttpResponseBase:
    """End the session; the browser forgets the pages it kept, so that “back” shows no child's page."""
    response = views.LogoutView.as_view()(request)
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


@login_not_required
@never_cache
@sensitive_post_parameters("password", "password_again")
@require_http_methods(["GET", "HEAD", "POST"])
def set_up(request: HttpRequest) -> HttpResponse:
    """Open while there is no teacher; afterwards it leads to the sign-in page."""
    if is_founded():
        return redirect("sign_in")
    form = SetUpForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            teacher = found_studio(
                studio_name=given["studio_name"],
                timezone=given["timezone"],
                name=given["name"],
                email=given["email"],
                password=given["password"],
            )
        except AlreadyFoundedError:
            messages.error(request, "This studio has been set up in the meantime. Sign in with its account.")
            return redirect("sign_in")
        login(request, teacher, backend=_PLAIN_BACKEND)
        return redirect("today")
    return render(request, "studio/set_up.html", {"form": form}, status=422 if request.method == "POST" else 200)


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def password_change(request: HttpRequest) -> HttpResponse:
    form = NewPasswordForm(teacher_of(request), request.POST or None)
    if request.method == "POST" and form.is_valid():
        update_session_auth_hash(request, form.save())
        messages.success(request, "The password is changed.")
        return redirect("settings")
    return render(
        request,
        "studio/password_change.html",
        {"form": form, "section": "settings"},
        status=422 if request.method == "POST" else 200,
    )


@login_not_required
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """Says "ok" when the database answers: for a proxy or a watchdog."""
    is_founded()
    return HttpResponse("ok\n", content_type="text/plain")
