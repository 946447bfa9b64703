"""The cautions that everything printed for use at a saw carries."""

from __future__ import annotations

CAUTIONS = (
    "Unplug the saw or lock it out before you touch the blade, and turn it by hand only. Teeth cut "
    "when still. Take indicator, bar and square away before the power comes back.",
    "Mark with a felt-tip pen only: no punch, scratch, grinder or drill.",
    "Marks hold for this mounting. Once the nut is loosened or the blade remounted, measure again.",
    "Never bend a blade on the saw, shim a flange or overtighten the nut to cure runout.",
    "Cracks, missing tips, heat marks, a wrong bore or speed rating: out of service, whatever the "
    "numbers say. These numbers are about runout only and certify no safety.",
    "Refit guard and riving knife. Make the test cut in scrap, clear of the blade's line.",
    "The saw's manual, local rules and licensed practice come first.",
)
