// What the clips share. All lengths in mm. Print in PETG or ASA, four walls, half filled; a car's frame in the sun softens PLA.

// A hole that a printed part really has: printers make holes a little small.
play = 0.3;
$fn = 96;

// A slot for a hose band or a cable tie, through a block along y.
module band_slot(width, thick, length) {
    cube([width, length, thick], center = true);
}

// A nut trap of an M-something nut: across flats, height, on its flat side.
module nut_trap(across_flats, height) {
    cylinder(d = (across_flats + play) / cos(30), h = height, $fn = 6);
}
