"""A loopback server with a group, fresh for each test."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from tests.loopback import Loopback


@pytest.fixture
async def server() -> AsyncIterator[Loopback]:
    loopback = await Loopback().start()
    loopback.group(-1001)
    yield loopback
    await loopback.stop()
