"""Settings: read from the environment, checked before anything starts; secrets never printed."""

from __future__ import annotations

from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from platformdirs import user_data_path
from pydantic import Field, SecretStr, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """The environment variables that begin with `BUOYSIDE_`.

    `base_url` is scheme, host and port of a Bot API server; None is the messenger's own. `data` is
    the folder of the database.
    """

    model_config = SettingsConfigDict(
        env_prefix="BUOYSIDE_", env_ignore_empty=True, extra="ignore", frozen=True
    )

    telegram_token: SecretStr | None = None
    telegram_base_url: str | None = None
    data: Path = Field(default_factory=lambda: user_data_path("buoyside", appauthor=False))
    log_level: Literal["DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"] = "INFO"

    @field_validator("telegram_base_url")
    @classmethod
    def _is_a_server(cls, value: str | None) -> str | None:
        if value is None:
            return None
        parts = urlsplit(value)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError("scheme, host and port of a server, as http://127.0.0.1:8081")
        if parts.path.strip("/") or parts.query or parts.fragment or parts.username:
            raise ValueError("nothing after the port: /bot and /file/bot are appended")
        return value.rstrip("/")

    @field_validator("log_level", mode="before")
    @classmethod
    def _any_case(cls, value: object) -> object:
        return value.upper() if isinstance(value, str) else value

    @property
    def database(self) -> Path:
        """The database's file."""
        return self.data / "buoyside.sqlite"

    @property
    def token(self) -> str:
        """The messenger's token, for the one place that connects; an error where there is none."""
        if self.telegram_token is None:
            raise SystemExit("BUOYSIDE_TELEGRAM_TOKEN is not set")
        return self.telegram_token.get_secret_value()
