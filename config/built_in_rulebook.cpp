#include "config/rulebook.h"

namespace torpor::config {
namespace {

// Shown to people as it stands; its sentences are checked by a test.
constexpr std::string_view kBook =
    R"yaml(# The rule book that torpor brings along, named `built-in` in the configuration.
#
# Few rules on purpose: a notice that asks for nothing teaches people to ignore the next one. To
# change one, leave `built-in` out of `rulebooks` and list your own file: start from this text.
# `lasting` asks that it was so all that time; a door opened or a sunbeam on the sensor is not worth
# a walk to the cellar.
#
# A jar follows the air of its place slowly: a jar of 2 to 4 kg has covered about two thirds of a
# change after 3 to 4 hours. A rule about air therefore looks at hours, not at minutes.

rules:

  # Heat kills what sleeps: ordinary yeasts end at about 42 to 45 °C, lactobacilli at about 44 °C. A
  # jar that stood at 45 °C for 4 hours, or at 40 °C for 3 days, is doubtful afterwards. In air of
  # 45 °C a jar at 25 °C reaches 40 °C only after about 4 hours: a warning after 15 minutes leaves
  # time to carry it away, and a moment of sun on the sensor has passed by then.
  # It ends 2 degrees lower, so that a reading that wavers around 40 °C stays one alert.
  harmful-heat:
    concerns: place
    when: temperature above 40 °C lasting 15 min
    until: temperature below 38 °C lasting 30 min
    urgency: now
    why: Heat above 40 °C kills the culture as it sleeps; a jar follows within hours.
    remedies: [move, shade, wake-test]

  # Between 20 and 30 °C yeasts become 1.6 to 1.9 times as fast, and 30 °C is close to their best:
  # what would have slept for a year then sleeps for little more than half of one. 4 hours, because
  # by then a jar has followed most of the way; the peak of a warm afternoon is over sooner and
  # reaches a jar weakened. Above 40 °C the rule before this one speaks, and once is enough.
  warm:
    concerns: place
    when: temperature between 30 °C and 40 °C lasting 4 h
    until: temperature below 28.5 °C lasting 1 h
    urgency: today
    why: In this warmth a jar wakes in little more than half the time that it needs at 20 °C.
    remedies: [move, shade]
    explains: [wakes-soon]

  # 5 K within the hour is no weather in a store room: a heater, a lamp, sun through a door, a fire
  # next door. Said only where it is already warm, while there are hours left to act.
  fast-rise:
    concerns: place
    when: rise of temperature over 1 h above 5 K and temperature above 27 °C
    until: rise of temperature over 1 h below 1 K lasting 30 min
    urgency: today
    why: It warms faster than weather warms a room; something heats the jars.
    remedies: [shade, move, look]

  # Warmth adds up. Three days in a week above 26 °C cost a jar about as much as two weeks at 18 °C
  # (a rate that doubles to trebles with 10 K), though no single afternoon was worth a word.
  long-warmth:
    concerns: place
    when: time with temperature above 26 °C within 7 d above 72 h
    until: time with temperature above 26 °C within 7 d below 48 h
    urgency: this-week
    why: The warm hours of this week add up; jars here wake in about half their time.
    remedies: [move, shade, use-first]
    explains: [wakes-soon]

  # The sugar of a sleeping jar stands in balance with air of about 85 % humidity. Under drier air a
  # cover that breathes dries the jar, and a crust forms; above it, it takes up water: at 25 °C and
  # 90 % about 0.15 g a day through two layers of kraft paper, 0.4 to 0.6 g through a thin tissue (a
  # mouth of 11 cm). The 60 g of sugar on top can take about 27 g before they are dissolved. So it
  # is a matter of weeks: a whole day of damp air before a word is said, and `this-week` to act.
  # A wet spell that dry hours interrupt adds up to the same: 60 hours of a week. It ends after two
  # dry days, at 82 %, because common sensors are wrong by up to 3 %.
  damp:
    concerns: place
    when: >-
      humidity above 85 % lasting 24 h or (humidity above 85 % and time with humidity above 85 %
      within 7 d above 60 h)
    until: humidity below 82 % lasting 2 d
    urgency: this-week
    why: Above 85 % humidity a cover that breathes lets water in, and the sugar on top dissolves.
    remedies: [vent, dry-air, move, renew-cover]
    explains: [damp-topping, buffer-low]

  # ---- The jar itself, by its own model: estimates, each the likely one of three. They are looked
  # at once an hour, so nothing shorter is asked for.

  # What no later look takes back: mould in colour, rot or larvae, found in the jar or in one of its
  # line. It explains whatever else such a jar shows but gas under its lid: only one deed is right.
  spoiled:
    concerns: jar
    when: spoiled at least 1
    until: spoiled below 1
    urgency: today
    why: It is spoiled all through before a sign of it shows, and no sugar stops that.
    remedies: [carry-out]
    explains:
      - awake
      - due
      - waking
      - wakes-soon
      - damp-topping
      - buffer-low
      - inner-dew
      - too-little-sugar
      - far-too-little-sugar
      - left-open
      - settling-look

  # A jar warmer than its room by a kelvin makes that warmth itself: it works, and makes gas.
  self-heating:
    concerns: jar
    when: self-heating above 1 K lasting 3 h
    until: self-heating below 0.5 K lasting 12 h
    urgency: now
    why: It is warmer inside than its air explains; it works, makes gas and is spoiled within days.
    remedies: [ease-lid, look, use-first]

  # Gas under a lid that holds it: the one thing here that can hurt somebody at once.
  gas-under-lid:
    concerns: jar
    when: >-
      gas-tight lid at least 1 and (waking signs at least 1 or self-heating above 1 K or wake
      progress above 70 %)
    until: gas-tight lid below 1
    urgency: now
    why: It may be making gas under a lid that holds it; glass can burst.
    remedies: [ease-lid, look]

  # A jar's sleep in four steps, so that one cause is one alert: it will wake within a month, half
  # of the work is done, all of it is, somebody has seen it.

  # What a keeper has seen, or two signs that agree.
  awake:
    concerns: jar
    when: waking signs at least 2
    until: waking signs below 2
    urgency: today
    why: The culture works; what works is spoiled within days unless it is used or fed with sugar.
    remedies: [use-first, add-sugar, ease-lid]

  # By reckoning the first sign is there to be found. Nobody has told of one.
  due:
    concerns: jar
    when: (wake progress at least 100 % and not waking signs at least 2) lasting 3 h
    until: wake progress below 90 % lasting 12 h or waking signs at least 2
    urgency: today
    why: By reckoning it has woken; only a look can tell.
    remedies: [look, use-first, add-sugar]

  # Half of the work up to the first sign you could find. At the rates of a warm room a week or two
  # is left then; it falls back only while the jar rests.
  waking:
    concerns: jar
    when: >-
      (wake progress at least 50 % and not (wake progress at least 100 % or waking signs at
      least 2)) lasting 6 h
    until: >-
      wake progress below 35 % lasting 1 d or wake progress at least 100 % or waking signs at least
      2
    urgency: today
    why: By reckoning it has done half of the work that a jar needs to wake.
    remedies: [add-sugar, move, look]

  # A month is time enough to carry a jar or to dry a room at leisure. Below two weeks it becomes
  # work for today.
  wakes-soon:
    concerns: jar
    when: >-
      (time to wake below 30 d and not (wake progress at least 50 % or waking signs at least 2))
      lasting 12 h
    until: >-
      time to wake above 45 d lasting 1 d or wake progress at least 50 % or waking signs at least 2
    urgency: this-week
    why: Under the air of the last days it wakes within a month.
    remedies: [move, add-sugar, use-first]

  # Saturated sugar holds 0.85 or a little less. Above 0.87 the sugar on top is gone and moulds can
  # work there; common yeasts follow from 0.88 on. Taken up from the air: what was short of sugar
  # from the start is no matter of its top.
  damp-topping:
    concerns: jar
    when: (surface activity above 0.87 and water gained above 2 g) lasting 24 h
    until: surface activity below 0.86 lasting 12 h
    urgency: today
    why: The sugar on top has taken up water from the air; the culture wakes from the top.
    remedies: [add-sugar, vent, dry-air, renew-cover]

  # The undissolved sugar is the jar's store against water. Taken up from the air, not short from
  # the start: that is the rule after this one.
  buffer-low:
    concerns: jar
    when: >-
      (water gained above 10 g and water buffer below 10 g and not sugar shortfall above 20 g)
      lasting 1 d
    until: >-
      water buffer above 15 g lasting 1 d or water gained below 8 g lasting 1 d or sugar shortfall
      above 20 g
    urgency: this-week
    why: The air's water has dissolved nearly all of its sugar; what comes next thins the syrup.
    remedies: [add-sugar, renew-cover, vent, dry-air]

  # Dew under the cover drips on the sugar. A cool night is over in the morning.
  inner-dew:
    concerns: jar
    when: inner dew margin below 0 K lasting 18 h
    until: inner dew margin above 0.5 K lasting 12 h
    urgency: this-week
    why: Water condenses inside, drips on the sugar and thins it from the top.
    remedies: [move, renew-cover, look]

  # Missing from the start, or used up: all sugar dissolves and the syrup thins. Dissolved sugar
  # alone is no reason to speak: what the enzymes of a resting jar make of its starch holds water as
  # well. From 0.88 on common yeasts work; 20 g is what a guess at the rice's wetness is wrong by.
  too-little-sugar:
    concerns: jar
    when: (sugar shortfall above 20 g and body activity above 0.87) lasting 1 d
    until: (sugar shortfall below 5 g or body activity below 0.86) lasting 6 h
    urgency: today
    why: All its sugar dissolves and the syrup is too thin; it will not sleep long.
    remedies: [add-sugar, look]
    explains: [waking, wakes-soon, damp-topping, buffer-low]

  # Short by far more: known as soon as the weights are told, and nobody waits a day to say so.
  far-too-little-sugar:
    concerns: jar
    when: sugar shortfall above 100 g and body activity above 0.88
    until: sugar shortfall below 20 g lasting 20 min or body activity below 0.86 lasting 6 h
    urgency: today
    why: All its sugar dissolves and the syrup is too thin; it will not sleep long.
    remedies: [add-sugar, look]
    explains: [too-little-sugar, waking, wakes-soon, damp-topping, buffer-low]

  # Told open and not told covered. Flies and mould spores need no more than an hour.
  left-open:
    concerns: jar
    when: time since opened above 1 h
    until: time since opened below 1 h lasting 5 min
    urgency: today
    why: It was opened and not covered again, as far as anybody said.
    remedies: [renew-cover]

  # A jar settles for two weeks, and looks alarming meanwhile: bubbles, a sinking level, a wet top.
  # A look on days 3, 7 and 14 tells a jar that settles from one that works; whatever is told of it
  # ends the alert, and so does the day: nobody is reminded twice.
  settling-look:
    concerns: jar
    when: >-
      (age between 3 d and 4 d and time since look above 3 d) or (age between 7 d and 8 d and time
      since look above 3 d) or (age between 14 d and 15 d and time since look above 6 d)
    until: >-
      time since look below 1 d or (age above 4 d and age below 7 d) or (age above 8 d and age below
      14 d) or age above 15 d
    urgency: this-week
    why: It settles; bubbles and a sinking level are normal now, a rising one or a bad smell is not.
    remedies: [look]

  # Nobody watches the jars of a silent sensor. Radio gaps of an hour or two mend themselves; after
  # 3 hours there is still time, as even in air of 50 °C a jar needs 8 hours or more to come to
  # harm. It ends when the sensor has spoken regularly for 4 hours, so that a dying battery, or a
  # sensor that speaks every 4 hours only, is one alert and not one after each reading. For sensors
  # that speak so rarely write a rule of your own with a longer time.
  silent-sensor:
    concerns: sensor
    when: time since reading above 3 h
    until: time since reading below 3 h lasting 4 h
    urgency: today
    why: Without readings nobody watches the jars it watches over.
    remedies: [check-sensor]

  # ---- Whether a sensor can be believed. Each reading is judged as it comes; what is not believed
  # is kept, marked, and not concluded from. These rules tell when that has lasted.

  # No change for longer than this air was ever calm, or humidity at its stop of 100 % for hours.
  # The next sensor in line speaks meanwhile. It ends after six hours of moving, so that a sensor
  # that sticks every night is one alert.
  stuck-sensor:
    concerns: sensor
    when: time stuck above 10 min
    until: time stuck below 1 min lasting 6 h
    urgency: today
    why: A sensor that shows one value whatever the air does watches over nothing.
    remedies: [check-sensor]

  # A quarter of the last 32 readings, for half an hour: a bad contact, a wrong unit, two devices on
  # one topic. A lone spike is no reason to walk to the cellar.
  erring-sensor:
    concerns: sensor
    when: doubted readings above 25 % lasting 30 min
    until: doubted readings below 5 % lasting 6 h
    urgency: today
    why: Many of its readings cannot be right; the jars there are watched with gaps, or not at all.
    remedies: [check-sensor]

  # Judged by whole hours, three in a row, with the hour before allowed for; cheap sensors differ by
  # 0.5 K and 3 % from the start. A day and a half of agreeing ends it.
  disagreeing-sensor:
    concerns: sensor
    when: time disagreeing above 10 min
    until: time disagreeing below 1 min lasting 36 h
    urgency: this-week
    why: Sensors in one place differ by more than their errors; one of them leads you astray.
    remedies: [check-sensor]

  # A week's mean against the first week's. It comes over months: a day more is no matter.
  drifting-sensor:
    concerns: sensor
    when: time drifting above 1 d
    until: time drifting below 1 min lasting 3 d
    urgency: this-week
    why: It has moved away from the sensors beside it; a check in table salt or ice corrects it.
    remedies: [check-sensor]

  # At 15 % most batteries of small sensors have weeks left, in the cold less. A day, because the
  # charge told wavers with warmth and with the radio's work; a fresh one ends it.
  low-battery:
    concerns: sensor
    when: battery below 15 % lasting 1 d
    until: battery above 30 % lasting 1 h
    urgency: this-week
    why: Its battery is nearly empty; when it dies nobody watches the jars it watches over.
    remedies: [change-battery]

  # ---- The service itself.

  # What was read and said meanwhile waits at the sensors and here, and comes when the broker is
  # back. So does this: it says since when nobody could be warned.
  broker-lost:
    concerns: service
    when: time since broker above 15 min
    until: time since broker below 1 min lasting 10 min
    urgency: this-week
    why: Without the broker no reading comes in and no warning goes out.
    remedies: [check-board]

  # A full disk ends the record; watching goes on from memory, for a while.
  disk-nearly-full:
    concerns: service
    when: disk free below 5 % lasting 10 min
    until: disk free above 8 % lasting 10 min
    urgency: today
    why: When the disk is full no reading and no alert is kept any more.
    remedies: [check-board]

  # The times of readings without a time of their own, and all that is said to last, follow the
  # board's clock.
  clock-stepped:
    concerns: service
    when: clock step above 5 min
    until: clock step below 1 min
    urgency: this-week
    why: The board's clock was set by minutes; durations from before that are wrong by as much.
    remedies: [check-board]
)yaml";

}  // namespace

std::string_view built_in_rulebook() { return kBook; }

}  // namespace torpor::config
