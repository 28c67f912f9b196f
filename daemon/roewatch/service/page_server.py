"""The page server: uvicorn, looking twice a second and not ten times whether it should end."""

import asyncio

from uvicorn import Server

_LOOKS_A_SECOND = 2
_TICKS_A_SECOND = 10  # `on_tick` writes the new second into its headers at every tenth count


class PageServer(Server):
    """Behaves as uvicorn's own, at a fifth of the wake-ups."""

    async def main_loop(self) -> None:
        """Until it should exit."""
        count = 0
        while not await self.on_tick(count):
            await asyncio.sleep(1 / _LOOKS_A_SECOND)
            count += _TICKS_A_SECOND // _LOOKS_A_SECOND
