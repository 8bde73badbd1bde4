"""Orders to a console as its page sends them, without a browser."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Sequence

import aiohttp

CONFIRM = {"do": "confirm", "person": True, "output": True}
STOP = {"do": "stop"}


def rhythm(word: str) -> dict:
    return {"do": "rhythm", "rhythm": word}


def favour(word: str) -> dict:
    return {"do": "favourite", "rhythm": word, "on": True}


def order(link: str, orders: Sequence[dict]) -> list[bool]:
    """Comes in by a link and gives orders, each once the one before was answered: whether each was carried out, as far as the console
    still answered."""
    return asyncio.run(_order(link, orders))


async def _order(link: str, orders: Sequence[dict]) -> list[bool]:
    origin = link[: link.index("/enter/")]
    done = []
    try:
        async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True), timeout=aiohttp.ClientTimeout(20)) as session:
            async with session.get(link, allow_redirects=False) as response:
                assert response.status == 303, response.status
            async with session.ws_connect(f"{origin}/socket", headers={"Origin": origin}) as socket:
                for number, words in enumerate(orders, 1):
                    await socket.send_str(json.dumps({"n": number} | words))
                    answer = await asyncio.wait_for(_answer(socket, number), 20)
                    if answer is None:
                        break
                    done.append(answer)
    except (aiohttp.ClientError, ConnectionError):
        pass
    return done


async def _answer(socket: aiohttp.ClientWebSocketResponse, number: int) -> bool | None:
    """Whether the order of this number was carried out; nothing when the console went away."""
    async for message in socket:
        if message.type == aiohttp.WSMsgType.TEXT:
            said = json.loads(message.data)
            if said.get("t") == "answer" and said["n"] == number:
                return said["ok"]
    return None
