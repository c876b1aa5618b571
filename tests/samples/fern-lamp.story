# Nine days of a fern-shaped floor lamp, opened on the ninth evening.
# DAY HH:MM WORDS, as after `tankside record DIR`; `closeout` and `refresh` as after their own.
# {a,b} stands for each.
opened 9 20:10

# The foot and the stem get their coats.
1 18:30 {base,stem} tick primed no-weep degreased
1 18:32 {base,stem} start coat
1 18:35 base weigh 1184.2g --as primed
1 18:36 stem weigh 191.6g --as primed
1 18:50 base coat
1 19:10 stem coat
1 20:00 {base,stem} coat
1 20:30 {base,stem} note 'burnished with a soft brush'

# The foot: strike with a touch-up, build, rinse, hold.
2 18:20 base ohms 180ohm --place 'rim to foot'
2 18:21 stem ohms 240ohm --place 'end to end'
2 18:22 {base,stem} finish
2 18:25 base start wiring
2 18:30 base ohms 170ohm --place foot
2 18:31 base ohms 190ohm --place rim
2 18:34 base tick tug
2 18:35 base finish
2 18:36 base weigh 1196.8g --as wired
2 18:55 base tick polarity anodes level temperature stirring limits leads kit protection
2 19:00 supply --tank main --volts 0.3V
2 19:01 base start strike
2 19:02 reading --tank main --volts 0.3V --amps 420mA --celsius 22C --mode cv
2 19:06 base look covered:30% advancing
2 19:25 reading --tank main --volts 0.3V --amps 610mA
2 19:26 base look covered:65% advancing@rim
2 19:30 supply --tank main --volts 0.5V
2 19:31 reading --tank main --volts 0.5V --amps 1.4A
2 19:46 base look bare:4%@underside
2 19:48 reading --tank main --volts 0.5V --amps 1.7A
2 19:49 base lift
2 19:58 base touch-up --where underside
2 20:25 base ohms 150ohm --place underside
2 20:27 base return --dipped
2 20:28 reading --tank main --volts 0.5V --amps 1.7A
2 20:44 base look covered
2 20:45 reading --tank main --volts 0.5V --amps 2A
2 20:46 base finish
2 20:47 supply --tank main --amps 3.9A
2 20:47 base start build
2 21:00 supply --tank main --amps 7.8A
2 21:12 supply --tank main --amps 11.5A
2 21:20 base look ok
2 21:21 base turn 'rim down'
2 21:22 reading --tank main --volts 1.4V --amps 11.5A --celsius 24C --mode cc
2 21:50 base contact moved 'rim, a hand further'
2 22:10 reading --tank main --volts 1.4V --amps 11.5A --celsius 25C --mode cc
2 22:12 base look ok nodules:1%@rim
2 22:40 reading --tank main --volts 1.4V --amps 11.4A --celsius 25C --mode cc
2 22:42 base tick tracks
2 22:43 base finish
2 22:44 supply --tank main --off
2 22:46 base start rinse
2 23:02 base tick neutral no-weeping
2 23:03 base finish
2 23:05 base tick surface
2 23:06 base start age
2 23:08 base climate --celsius 20C --humidity 46%
2 23:10 {crozier,frond-1} tick primed no-weep degreased
2 23:11 {crozier,frond-1} start coat
2 23:20 {crozier,frond-1} coat
2 23:40 closeout tick ramp-down written anodes-in bags filter level cover buckets waste spills gloves chemicals electric ventilation
2 23:41 closeout sign

# Stem and crozier on one supply; the crozier peels and goes back to its coat.
3 18:00 base weigh 1217.9g --as plated
3 18:05 crozier ohms 310ohm --place 'tip to socket'
3 18:06 crozier finish
3 18:07 {stem,crozier} start wiring
3 18:15 stem ohms 210ohm --place bottom
3 18:16 stem ohms 250ohm --place top
3 18:17 crozier ohms 290ohm --place socket
3 18:18 {stem,crozier} tick tug
3 18:20 {stem,crozier} finish
3 18:21 stem weigh 195.3g --as wired
3 18:30 {stem,crozier} tick polarity anodes level temperature stirring limits leads kit protection
3 18:40 supply --tank main --volts 0.3V
3 18:41 stem start strike
3 18:42 reading --tank main --volts 0.3V --amps 180mA --celsius 21C --mode cv
3 18:46 stem look covered:55% advancing
3 19:05 reading --tank main --volts 0.3V --amps 300mA
3 19:06 stem look covered
3 19:07 stem finish
3 19:08 supply --tank main --amps 1.4A
3 19:08 stem start build
3 19:20 supply --tank main --amps 2.8A
3 19:32 supply --tank main --amps 4.3A
3 19:35 crozier start strike
3 19:35 reading --tank main --volts 0.9V --amps 400mA --piece crozier
3 19:40 crozier look covered:40%
3 19:55 reading --tank main --volts 0.9V --amps 520mA --piece crozier
3 19:56 crozier look covered peeling:10%@tip
3 19:56 reading --tank main --volts 1.1V --amps 4.3A --mode cc
3 19:57 crozier rework coat --because 'peels at the tip: grease under the coat'
3 20:30 stem look ok
3 20:31 reading --tank main --volts 1.2V --amps 4.3A --celsius 23C --mode cc
3 20:32 stem turn 'top end down'
3 21:05 stem contact moved 'top, two cm down'
3 21:06 reading --tank main --volts 1.2V --amps 4.3A --celsius 24C --mode cc
3 21:07 stem look ok
3 21:08 stem tick tracks
3 21:09 stem finish
3 21:10 supply --tank main --off
3 21:12 stem start rinse
3 21:40 stem tick neutral no-weeping
3 21:41 stem finish
3 21:43 stem tick surface
3 21:44 stem start age
3 22:00 crozier tick primed no-weep degreased
3 22:01 crozier start coat
3 22:10 crozier coat
3 22:15 frond-1 ohms 420ohm --place 'tip to tang'
3 22:16 frond-1 finish
3 22:20 {frond-2,frond-3} tick primed no-weep degreased
3 22:21 {frond-2,frond-3} start coat
3 22:30 {frond-2,frond-3} coat
3 22:50 closeout tick ramp-down written anodes-in bags filter level cover buckets waste spills gloves chemicals electric ventilation
3 22:51 closeout sign

# The largest frond.
4 18:10 stem weigh 202.6g --as plated
4 18:15 frond-1 start wiring
4 18:20 frond-1 ohms 380ohm --place tang
4 18:21 frond-1 ohms 300ohm --place 'third leaflet'
4 18:22 frond-1 tick tug
4 18:23 frond-1 finish
4 18:24 frond-1 tick polarity anodes level temperature stirring limits leads kit protection
4 18:30 supply --tank main --volts 0.3V
4 18:31 frond-1 start strike
4 18:32 reading --tank main --volts 0.3V --amps 500mA --celsius 21C --mode cv
4 18:37 frond-1 look covered:35% advancing
4 18:57 frond-1 look covered:80% advancing
4 18:58 reading --tank main --volts 0.3V --amps 900mA
4 19:17 frond-1 look covered
4 19:18 reading --tank main --volts 0.3V --amps 1.1A
4 19:19 frond-1 finish
4 19:20 supply --tank main --amps 4.2A
4 19:20 frond-1 start build
4 19:32 supply --tank main --amps 8.4A
4 19:44 supply --tank main --amps 12.5A
4 19:50 frond-1 look nodules:1%@tips
4 19:52 supply --tank main --amps 10A
4 20:30 reading --tank main --volts 1.5V --amps 10A --celsius 25C --mode cc
4 20:31 frond-1 turn 'tang down'
4 21:20 reading --tank main --volts 1.5V --amps 10A --celsius 26C --mode cc
4 21:22 frond-1 look ok rough:5%@'upper leaflets'
4 21:24 frond-1 tick tracks stop-nodules
4 21:25 frond-1 finish
4 21:26 supply --tank main --off
4 21:28 frond-1 start rinse
4 21:50 frond-1 tick neutral no-weeping
4 21:51 frond-1 finish
4 21:52 frond-1 tick surface
4 21:53 frond-1 start age
4 22:00 bath --tank main filter
4 22:20 closeout tick ramp-down written anodes-in bags filter level cover buckets waste spills gloves chemicals electric ventilation
4 22:21 closeout sign

# Seal the foot inside its window; dose; the crozier again.
5 18:00 bath --tank main dose 12mL
5 18:05 bath --tank main topup 0.8L
5 18:30 crozier ohms 260ohm --place 'tip to socket'
5 18:31 crozier finish
5 18:32 crozier start wiring
5 18:36 crozier ohms 250ohm --place socket
5 18:37 crozier tick tug
5 18:38 crozier finish
5 18:40 crozier tick polarity anodes level temperature stirring limits leads kit protection
5 18:45 supply --tank main --volts 0.3V
5 18:46 crozier start strike
5 18:47 reading --tank main --volts 0.3V --amps 210mA --celsius 21C --mode cv
5 18:52 crozier look covered:50% advancing
5 19:12 crozier look covered
5 19:13 reading --tank main --volts 0.3V --amps 390mA
5 19:14 crozier finish
5 19:15 supply --tank main --amps 1.7A
5 19:15 crozier start build
5 19:27 supply --tank main --amps 3.4A
5 19:39 supply --tank main --amps 5A
5 19:45 crozier look ok
5 20:40 reading --tank main --volts 1.2V --amps 5A --celsius 24C --mode cc
5 20:41 crozier turn 'curl up'
5 21:20 reading --tank main --volts 1.2V --amps 5A --celsius 24C --mode cc
5 21:21 crozier look ok
5 21:22 crozier tick tracks
5 21:23 crozier finish
5 21:24 supply --tank main --off
5 21:26 crozier start rinse
5 21:45 crozier tick neutral no-weeping
5 21:46 crozier finish
5 21:47 crozier tick surface
5 21:48 crozier start age
5 22:00 base finish
5 22:01 base tick power-off
5 22:02 base climate --celsius 21C --humidity 52%
5 22:03 base start seal
5 22:10 base coat
5 22:40 base coat

# Two fronds are wired; the second is hurried out of its coat.
6 18:30 frond-2 ohms 350ohm --place 'tip to tang'
6 18:31 {frond-2} finish
6 18:32 frond-2 start wiring
6 18:36 frond-2 ohms 330ohm --place tang
6 18:37 frond-2 tick tug
6 18:38 frond-2 finish
6 19:00 stem finish
6 19:01 stem tick power-off
6 19:02 stem start seal
6 19:10 stem coat
6 19:20 frond-4 tick primed no-weep degreased
6 19:21 frond-4 start coat
6 19:30 frond-4 coat
6 22:45 base finish

# The second frond; its strike ends with a spot never seen.
7 18:20 frond-2 tick polarity anodes level temperature stirring limits leads kit protection
7 18:25 supply --tank main --volts 0.3V
7 18:26 frond-2 start strike
7 18:27 reading --tank main --volts 0.3V --amps 450mA --celsius 21C --mode cv
7 18:32 frond-2 look covered:40% advancing
7 18:52 frond-2 look covered:85%
7 18:53 reading --tank main --volts 0.3V --amps 800mA
7 19:12 frond-2 look bare:2%@'inside the tang'
7 19:13 reading --tank main --volts 0.3V --amps 900mA
7 19:14 frond-2 tick never-seen
7 19:15 frond-2 finish
7 19:16 supply --tank main --amps 3.5A
7 19:16 frond-2 start build
7 19:28 supply --tank main --amps 7A
7 19:40 supply --tank main --amps 9A
7 19:46 frond-2 look ok
7 19:50 stem finish
7 20:35 reading --tank main --volts 1.4V --amps 9A --celsius 25C --mode cc
7 20:36 frond-2 turn 'tang down'
7 21:18 reading --tank main --volts 1.4V --amps 9A --celsius 25C --mode cc
7 21:18 frond-2 look ok
7 21:19 frond-2 tick tracks
7 21:19 frond-2 finish
7 21:20 supply --tank main --off
7 21:21 frond-2 start rinse
7 21:36 frond-2 tick neutral no-weeping
7 21:37 frond-2 finish
7 21:38 frond-2 tick surface
7 21:39 frond-2 start age
7 21:50 frond-1 finish
7 21:51 frond-1 tick power-off
7 21:52 frond-1 start seal
7 22:00 frond-1 coat
7 22:20 closeout tick ramp-down written anodes-in bags filter level cover buckets waste spills gloves chemicals electric ventilation
7 22:21 closeout sign

8 19:00 frond-3 ohms 390ohm --place 'tip to tang'
8 19:01 frond-3 finish
8 19:02 frond-3 start wiring
8 19:10 frond-3 ohms 360ohm --place tang
8 19:11 frond-3 tick tug
8 19:12 frond-3 finish
8 20:00 crozier climate --celsius 20C --humidity 48%
8 22:05 frond-1 finish
8 23:00 crozier finish
8 23:01 crozier tick power-off
8 23:02 crozier start seal
8 23:10 crozier coat

# Tonight: the third frond is in the tank.
9 18:10 frond-4 ohms 700ohm --place 'tip to tang'
9 18:11 frond-4 finish
9 18:12 frond-4 start wiring
9 18:15 frond-4 ohms 150ohm --place tang
9 18:16 frond-4 ohms 520ohm --place 'last leaflet'
9 18:17 frond-4 tick tug
9 18:20 frond-4 finish --override 'the far contact is only for the strike'
9 18:25 frond-3 tick polarity anodes level temperature stirring limits leads kit protection
9 18:30 supply --tank main --volts 0.3V
9 18:31 frond-3 start strike
9 18:32 reading --tank main --volts 0.3V --amps 380mA --celsius 22C --mode cv
9 18:36 frond-3 look covered:45% advancing
9 18:56 frond-3 look covered
9 18:57 reading --tank main --volts 0.3V --amps 640mA
9 18:58 frond-3 finish
9 18:59 supply --tank main --amps 2.8A
9 18:59 frond-3 start build
9 19:11 supply --tank main --amps 5.6A
9 19:23 supply --tank main --amps 8.3A
9 19:30 frond-3 look ok
9 19:31 frond-3 turn 'tang up'
9 19:40 reading --tank main --volts 1.3V --amps 8.3A --celsius 24C --mode cc
