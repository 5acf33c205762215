from django.apps import AppConfig


class StudioConfig(AppConfig):
    name = "studio"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from studio.form_words import set_form_words

        set_form_words()
