"""
The simulated vacuum receiver: the world behind the I/O.

It knows nothing of the logic: it takes the output image and gives the input image. It is ordinary software
for trying out sequences and for teaching; it is no safety function, no safety function may rest on it, and it
sizes nothing. All defaults are estimates until they are replaced by measurements at the machine.

Modelled: one gas volume with line, flap, vent, leaks, source and pulses; product in line, plug, body, cake,
dust cloud and vessel; ejector, or blower and vane pump with bypass, as a curve; supply network, header, pulse
tanks by group, flap cylinder or hanging flap; an instrument for every field input: probes, position and
pressure switches, contactor contacts, transmitters with lag, noise and NE 43 saturation; the failure modes of
`io_sim.failures`, which may creep.

Not modelled:

- temperature: all gas is isothermal; fast transients are up to 1.4 times stiffer in truth
- product that changes: moisture, caking, segregation, cohesion that drifts with time or storage
- bridging in the body other than a flow factor; the air that fluidising uses, and its pressure in the body
- dense phase, and slugs other than the swing of a failure mode: out of range above a solids/air ratio
  of 25 or under 8 m/s in the line
- the air split of a suction lance, several feed points, the stock of the feed hopper
- wear; what dust in the exhaust does to the source behind a torn filter
- pulse shock in the element: the pulse is a flow into the body, its effect a law of tank pressure
- single elements: all are one cloth and one cake; only their tanks come in groups
- pressure waves, the volume of the line and of the clean side
- the vessel below as a gas volume: its pressure is given, or a law of the product that falls into it
- the funnel that an outlet draws into the heap: it is always a cone of one angle, filled on the axis
- a tank dumped by the source valve itself; the drop of an open bypass; current, heat and torque of a motor
- the swing and the friction of a hanging flap: it moves as fast as its surplus of force
- electrostatic charge, dust explosions, noise, people
"""
