"""How a wide table is laid out on a narrow screen, in reports and panels alike."""

from typing import Final

CARDS: Final = """
/* On a phone a row of many columns is a card: each cell under its heading. */
@media screen and (max-width: 640px) {
  table.many, .many caption, .many tbody, .many tr, .many td { display: block; width: auto; }
  .many thead { display: none; }
  .many tr { border: 1px solid #b9c0c6; border-radius: 4px; padding: 6px 10px;
    margin: 0 0 10px; }
  table.many td { border: 0; padding: 2px 0; }
  .many td::before { content: attr(data-head); display: block; font-size: 12px;
    color: #454c52; }
  .many td:empty { display: none; }
}
"""
