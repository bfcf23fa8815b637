"""A body with light boards standing in it, ready to answer what lights do.

Everything here is fixed once it is made; what an answer needs besides is made for that answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from glowsim.errors import SolveError
from glowsim.geometry.body import region_of
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import Target
from glowsim.geometry.regions import ROOM
from glowsim.transport.problem import BodyProblem, Emitters, Kind
from glowsim.transport.quick.aim import beams
from glowsim.transport.quick.beams import Rays
from glowsim.transport.quick.cavity import Cavity
from glowsim.transport.quick.flight import FirstFlight, Flight
from glowsim.transport.quick.medium import Medium
from glowsim.transport.quick.multigrid import solve
from glowsim.transport.quick.quality import FULL, Quality
from glowsim.transport.quick.surfaces import Surfaces
from glowsim.transport.quick.system import Returns, System
from glowsim.transport.quick.walls import Walls

VISIBLE_DIRECT = 0.01
"""From this share of a light's flux on, unscattered light at the surface counts as showing."""
LIGHTS_AT_ONCE = 8
CALM_CELLS = 1.25
"""What leaves the surface is averaged over this many cells where light turns round within one;
over less where it does not. On a shell two cells thick that takes the scatter between
neighbouring faces from 2.5 % (5 % where light also decays within a cell) to 1 %."""
