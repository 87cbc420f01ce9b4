#!/usr/bin/env python3
"""Draws power.svg: from a vehicle's battery to the logger. power.py > power.svg"""

INK, FAINT, RED, BLUE = "#222222", "#777777", "#b3261e", "#1a5fb4"
parts = []


def text(x, y, words, size=13, colour=INK, anchor="middle", weight="normal"):
    parts.append(f'<text x="{x}" y="{y}" font-size="{size}" text-anchor="{anchor}" fill="{colour}" font-weight="{weight}">{words}</text>')


def line(points, colour=INK, width=2.0):
    parts.append(f'<polyline points="{" ".join(f"{x},{y}" for x, y in points)}" stroke="{colour}" stroke-width="{width}"/>')


def box(x, y, width, height, name, below):
    parts.append(f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="4" fill="#f4f4f4" stroke="{INK}" stroke-width="1.5"/>')
    text(x + width / 2, y + height / 2 - 2, name, weight="bold")
    text(x + width / 2, y + height / 2 + 15, below, 11, FAINT)


def dot(x, y, colour=INK):
    parts.append(f'<circle cx="{x}" cy="{y}" r="3.5" fill="{colour}"/>')


def capacitor(x, y, name):
    line([(x, y), (x, 188)])
    line([(x - 12, 188), (x + 12, 188)], width=3)
    line([(x - 12, 196), (x + 12, 196)], width=3)
    line([(x, 196), (x, 290)])
    dot(x, y)
    dot(x, 290)
    text(x + 16, 197, name, 12, anchor="start")


TOP, GROUND = 110, 290
# Battery.
line([(60, TOP), (60, 185)], RED)
line([(42, 185), (78, 185)], width=2)
line([(52, 195), (68, 195)], width=5)
line([(60, 195), (60, GROUND)])
text(60, 92, "battery, 12 V", weight="bold")
text(30, 188, "+", 16)
# Fuse.
line([(60, TOP), (120, TOP)], RED)
parts.append(f'<rect x="120" y="100" width="56" height="20" fill="#ffffff" stroke="{INK}" stroke-width="1.5"/>')
line([(120, TOP), (176, TOP)], width=1.2)
text(148, 92, "fuse 1 A", weight="bold")
text(148, 138, "within 150 mm", 11, FAINT)
text(148, 152, "of the battery", 11, FAINT)
# Suppressor diode, both ways.
line([(176, TOP), (330, TOP)], RED)
dot(235, TOP)
line([(235, TOP), (235, 178)])
parts.append(f'<polygon points="221,200 249,200 235,178" fill="#ffffff" stroke="{INK}" stroke-width="1.5"/>')
line([(221, 178), (249, 178)])
line([(235, 200), (235, GROUND)])
dot(235, GROUND)
text(258, 184, "suppressor", 12, anchor="start", weight="bold")
text(258, 200, "33 V stand-off, 1.5 kW", 11, FAINT, "start")
text(258, 214, "cathode up", 11, FAINT, "start")
# Series diode.
parts.append(f'<polygon points="330,97 330,123 354,110" fill="#ffffff" stroke="{INK}" stroke-width="1.5"/>')
line([(354, 97), (354, 123)], width=3)
text(342, 88, "Schottky, 100 V 1 A", weight="bold")
text(342, 140, "wrong way round the", 11, FAINT)
text(342, 154, "fuse blows, no more", 11, FAINT)
line([(354, TOP), (470, TOP)], RED)
capacitor(420, TOP, "100 µF, 63 V")
box(470, 84, 150, 54, "buck module", "in 7 to 60 V, out 5 V 1 A")
line([(545, 138), (545, GROUND)])
dot(545, GROUND)
line([(620, TOP), (760, TOP)], BLUE)
capacitor(665, TOP, "10 µF")
box(760, 84, 150, 54, "board", "VSYS through a Schottky")
line([(835, 138), (835, GROUND)])
line([(60, GROUND), (835, GROUND)])
text(445, 312, "ground: one wire back to the battery's minus, not the frame", 12)
text(700, 100, "5 V", 12, BLUE)
text(40, 40, "From the vehicle's battery to the logger", 16, anchor="start", weight="bold")
text(40, 60, "A laptop on its own battery, or a USB power bank, needs none of this: take one of those if you can.", 12, FAINT, "start")
print('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 920 330" font-family="sans-serif" font-size="13" fill="none" stroke="none">')
print("<title>Power from a vehicle: fuse, suppressor, diode, buck module, board</title>")
print('<rect width="920" height="330" fill="#ffffff"/>')
print("\n".join(part.replace("<text", '<text stroke="none"') for part in parts))
print("</svg>")
