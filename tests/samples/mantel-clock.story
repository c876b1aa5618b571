# Four days of a mantel clock: forty small pieces, two tanks.
opened 4 20:05

1 18:30 {plinth-base,plinth-moulding,front-panel,back-panel} tick primed no-weep degreased
1 18:31 {plinth-base,plinth-moulding,front-panel,back-panel} start coat
1 18:40 {plinth-base,plinth-moulding,front-panel,back-panel} coat
1 19:30 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} tick primed no-weep degreased
1 19:31 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} start coat
1 19:40 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} coat

2 18:00 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} ohms 90ohm
2 18:01 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} finish
2 18:02 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} start wiring
2 18:20 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} ohms 85ohm --place back
2 18:21 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} tick tug polarity anodes level temperature stirring limits leads kit protection
2 18:22 numeral-{1,2,3,4,5,6,7,8,9,10,11,12} finish
2 18:30 supply --tank beaker --volts 0.4V
2 18:31 numeral-12 start strike --tank beaker
2 18:32 reading --tank beaker --volts 0.4V --amps 12mA --mode cv
2 18:37 numeral-12 look covered
2 18:38 reading --tank beaker --volts 0.4V --amps 14mA
2 18:39 numeral-12 finish
2 18:40 supply --tank beaker --amps 20mA
2 18:40 numeral-12 start build
2 19:40 reading --tank beaker --volts 0.5V --amps 20mA --mode cc
2 19:41 numeral-12 look ok
2 21:40 reading --tank beaker --volts 0.5V --amps 20mA --mode cc
2 21:42 numeral-12 tick tracks
2 21:43 numeral-12 finish --override 'a trial piece'
2 21:44 supply --tank beaker --off
2 21:45 numeral-12 start rinse
2 21:55 numeral-12 tick neutral no-weeping
2 21:56 numeral-12 finish
2 21:57 numeral-12 tick surface
2 21:58 numeral-12 start age

3 18:00 {front-panel,back-panel} ohms 210ohm
3 18:01 {front-panel,back-panel} finish
3 18:02 {front-panel,back-panel} start wiring
3 18:10 {front-panel,back-panel} ohms 190ohm --place edge
3 18:11 {front-panel,back-panel} tick tug polarity anodes level temperature stirring limits leads kit protection
3 18:12 {front-panel,back-panel} finish

4 18:30 supply --tank trough --volts 0.3V
4 18:31 front-panel start strike --tank trough
4 18:32 reading --tank trough --volts 0.3V --amps 300mA --celsius 22C --mode cv
4 18:37 front-panel look covered:60%
4 18:57 front-panel look covered
4 18:58 reading --tank trough --volts 0.3V --amps 520mA
4 18:59 front-panel finish
4 19:00 supply --tank trough --amps 1.8A
4 19:00 front-panel start build
4 19:12 supply --tank trough --amps 3.5A
4 19:24 supply --tank trough --amps 5A
4 19:31 front-panel look ok
4 19:40 reading --tank trough --volts 1.2V --amps 5A --celsius 24C --mode cc
4 19:45 supply --tank beaker --volts 0.4V
4 19:46 numeral-1 start strike --tank beaker
4 19:46 reading --tank beaker --volts 0.4V --amps 8mA --mode cv
4 19:51 numeral-1 look covered
4 19:52 reading --tank beaker --volts 0.4V --amps 9mA --mode cv
