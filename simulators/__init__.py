"""A greenhouse that exists only in numbers: weather, house, water, machines, sensors and people.

Nothing here knows the daemon. Every part is a plain object with an `advance` in seconds, or a question that
is answered at once; all chance comes from streams named by one seed and the part (`chance.stream`), so a part
may be left out or asked more often without changing the others. Instants are milliseconds since 1970 in UTC.

How a loop drives them, once a simulated minute (all figures are floats, all arguments named):

1. `weather = sky.at(utc_ms)` with `sky.SyntheticSky(seed, latitude_deg=..., longitude_deg=...)` for any
   place, or `years.WeatherYear(seed, Station.GREENSBORO_NORTH_CAROLINA)`, whose place is the station's
   (`latitude_deg`, `longitude_deg`, `elevation_m`). `Weather` is irradiance, outdoor temperature, humidity,
   wind, pressure. Any order of instants gives the same weather.
2. `board.advance(60.0)`, a `boards.RelayBoard(motor.Curtain(...))` or a `boards.TargetBoard`. Between
   minutes, give commands when they arrive: `relay.command(Direction.DRAW, run_s=..., now_ms=...,
   not_after_ms=...)`, `target.command(drawn_percent, now_ms=..., not_after_ms=...)`; the answer is None or a
   `Refusal`. `board.report()` is what the board would publish, `board.curtain.drawn_percent` the truth.
   `board.seconds_until_change()` tells when to look again while it moves; steps of any size give the same
   motion.
3. For each water: `tank.advance(60.0, air_c=house.air_c, vapour_pa=house.vapour_pa,
   pressure_hpa=weather.pressure_hpa, light_w_m2=house.light_below_w_m2)`, then `pump.circulate(one, other,
   seconds=60.0, flow_m3_h=...)` for each pump that runs. Meals by `tank.feed(grams)`, base by
   `tank.dose(base_eq=...)`. A tank ready to use is `Tank()`; `fish_kg=0.0` makes it a sump or a raft bed,
   `Stock(roots_m2=...)` grows plants.
4. `house.advance(60.0, weather, drawn_percent=board.curtain.drawn_percent, water_w_m2=...,
   water_kg_m2_s=...)`, the last two being the sums of `tank.heat_to_air_w` and `tank.vapour_to_air_kg_s` over
   `house.build.floor_m2`.
5. For each sensor: `sensor.advance(60.0, true_value, minute_of_day=...)` gives what it sends, or None.
6. A message: `path.carry(now_ms=..., address=...)` tells whether it was accepted and when it arrives; at each
   arrival `person.receive(now_ms=..., text=...)` tells, with instants, what the phone shows and what is sent
   back. The loop puts these into its own queue and lets the answers travel back by a path.

Faults are attributes, to be set at any instant: `curtain.jam_at_percent`, `curtain.slowness`,
`curtain.drawn_limit_works`, `board.welded`, `board.lose_power()`, `board.turn_selector(...)`,
`board.feedback.offset_percent`, `house.heater_works`, `house.vents_work`, `tank.aeration_per_h`,
`tank.heater_works`, `tank.leak_l_min`, `tank.fill_l_min`, `sensor.failure` and the other figures of a sensor,
`path.down_ms`, `person.flat_ms`, `person.away_ms`.

What may be held against the world afterwards: `house.imbalance()` and `tank.ledger` for its books,
`tank.gasping_s` and `tank.unionised_mg_l` for the fish, `curtain.starts` and `curtain.motor_s` for the
motor.
"""
