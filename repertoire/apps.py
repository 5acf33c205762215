from django.apps import AppConfig


class RepertoireConfig(AppConfig):
    name = "repertoire"
    default_auto_field = "django.db.models.BigAutoField"
