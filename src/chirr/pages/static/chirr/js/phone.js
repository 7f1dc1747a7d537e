// What a phone keeps and does without a network; see docs/phone.md.
