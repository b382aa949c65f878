"""Emoji by their characters, the one name that all platforms share; a custom one without a character by `:name:`.

An emoji is kept bare: without skin tone and without the sign that asks for a coloured picture, so that one person's
vote is one whichever way it was typed. Databases and rooms of 0.1.0 before its release hold short names, which
`by_name` still recognises. Aliases are from memory of the open emoji data; one that is not listed stays a name.
"""

from __future__ import annotations

import re
import unicodedata

_TABLE = """
👍 +1 thumbsup thumbs_up|👎 -1 thumbsdown thumbs_down|❤ heart red_heart|⭐ star|🌱 seedling|🌿 herb|🌻 sunflower
🌷 tulip|🌵 cactus|🍁 maple_leaf|🍄 mushroom|🌳 deciduous_tree|🍃 leaves|☀ sunny|☁ cloud|🌈 rainbow|❄ snowflake|🔥 fire
💧 droplet|🐝 bee honeybee|🐌 snail|🐦 bird|🐟 fish|🐱 cat|🐶 dog|🍎 apple|🥕 carrot|🍞 bread|🍵 tea|☕ coffee|🍰 cake
🎉 tada|👏 clap|🙌 raised_hands|🙏 pray|👋 wave|💪 muscle|👊 punch facepunch|✋ hand raised_hand|🏃 runner running
👀 eyes|💡 bulb|🔑 key|🔔 bell|📌 pushpin|⌛ hourglass|🚀 rocket|🚲 bike|⚓ anchor|💎 gem|🏅 medal sports_medal|🎯 dart
😄 smile|🙂 slightly_smiling_face|😂 joy|🤔 thinking_face|😮 open_mouth|😢 cry|😕 confused|😅 sweat_smile
😆 laughing satisfied|💥 boom collision|☎ phone telephone|📨 incoming_envelope envelope_with_arrow|💩 hankey poop
✅ white_check_mark|✔ heavy_check_mark|❌ x|❓ question|❗ exclamation|⚠ warning|🔴 red_circle|🔵 large_blue_circle
0\u20e3 zero|1\u20e3 one|2\u20e3 two|3\u20e3 three|4\u20e3 four|5\u20e3 five|6\u20e3 six|7\u20e3 seven|8\u20e3 eight
9\u20e3 nine|🔟 keycap_ten
"""
_ROWS = [row.split() for row in re.split(r"[|\n]", _TABLE) if row]
_BY_NAME = {name: row[0] for row in _ROWS for name in row[1:]}
_SHORT = {row[0]: row[1] for row in _ROWS}
_CUSTOM = re.compile(r"[\w+'.-]{1,64}")
_MODIFIERS = re.compile("[\ufe0f\U0001f3fb-\U0001f3ff]")
_FLAG = re.compile("[\U0001f1e6-\U0001f1ff]{2}|\U0001f3f4[\U000e0020-\U000e007f]+")
_JOINER = "\u200d"
FINISHED = ("✅", "✔")
"""By which somebody says under a ballot that it is finished."""
DIGITS = (*(f"{digit}\u20e3" for digit in range(10)), "🔟")
"""The digits from 0 to 10."""


def bare(text: str) -> str:
    """One emoji as it is kept; "" for what is none."""
    plain = _MODIFIERS.sub("", text)
    return plain if plain in DIGITS or all(map(_is_one, plain.split(_JOINER))) else ""


def _is_one(part: str) -> bool:
    return _FLAG.fullmatch(part) is not None or (len(part) == 1 and unicodedata.category(part) == "So")


def by_name(name: str) -> str:
    """The emoji of a short name; of one without a character the name itself, in colons."""
    return _BY_NAME.get(name) or (f":{name}:" if _CUSTOM.fullmatch(name) else name)


def short_name(emoji: str) -> str:
    """The short name of an emoji, for platforms that know no other."""
    return _SHORT.get(emoji, emoji.strip(":"))
