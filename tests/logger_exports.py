"""Small logger exports, one a layout, after real ones; all hold 20.5, 19 and 18.5 °C at 1, 3 and 5 h UTC on 17 December 2017."""

TWO_LINES_24H = """\
Plot Title: 1,,,
#,"Date Time, GMT-05:00","Temp, °C (LGR S/N: 20153879, SEN S/N: 20153879)","Intensity, Lux (LGR S/N: 1)",Bad Battery (LGR S/N: 1)
1,12/16/17 20:00,20.5,0,
2,12/16/17 22:00,19,0,
3,12/17/17 0:00,18.5,11.2,
4,12/17/17 0:07,,,Logged
"""

TWO_LINES_12H = """\
"Plot Title: 2B"
"#","Date Time, GMT-05:00","Temp, °C (LGR S/N: 20153868)","Stopped (LGR S/N: 20153868)"
1,12/16/17 08:00:00 PM,20.5,
2,12/16/17 10:00:00 PM,19,
3,12/17/17 12:00:00 AM,18.5,
4,12/17/17 12:07:41 AM,,Logged
"""

PREAMBLE = """\
"1-0",12/17/2017
"Timezone",-5

"Serial No.","E30000002E81D921"
"Location:","6-30"
"High temperature limit (°C)",85
"Date - Time","Temperature (°C)"
"2017-12-16 20:00",20.5
"2017-12-16 22:00",19.0
"2017-12-17 00:00",18.5
-end-
"""

THREE_TIMES = """\
date_time,date,time,temp_C,,,
12/16/17 20:00,12/16/17,20:00,20.5,,,
12/16/17 22:00,12/16/17,22:00,19,,,
12/17/17 0:00,12/17/17,0:00,18.5,,,
"""

INDEXED = """\
,Date,Time,Temp C,,Site5-40
1,12/16/17,20:00:00,20.5,,
2,12/16/17,22:00:00,19,,
3,12/17/17,0:00:00,18.5,,"""

UNIT_COLUMN = """\
Part Number: X-5
Registration Number: C30000002E9FE721
Sample Rate:  Every 120 minute(s)

Date/Time,Unit,Value
12/16/17 8:00:00 PM,C,20.5
12/16/17 10:00:00 PM,C,19
12/17/17 12:00:00 AM,C,18.5
"""

NO_HEADING = """\
12/16/17 20:00\tC\t20.5\t\t\tSite 1\tClipped
12/16/17 22:00\tC\t19\t\t\t\t
12/17/17 0:00\tC\t18.5\t\t\t\t
"""

DECIMAL_COMMA = """\
Date Time;Temp (°C) LGR S/N: 20024338;RH (%) LGR S/N: 20024338;Host Connected LGR S/N: 20024338
16.12.2017 20:00:00;20,5;80,25;
16.12.2017 22:00:00;19,0;81;
17.12.2017 00:00:00;18,5;;
17.12.2017 00:03:00;;;Logged
"""

FAHRENHEIT = """\
date_time,Temp (°F)
12/16/17 20:00,68.9
12/16/17 22:00,66.2
12/17/17 00:00,65.3
"""

UNITS_BELOW = """\
Date,Time,Temperature,RH
mm/dd/yyyy,hh:mm,°C,%
12/16/2017,20:00,20.5,80
12/16/2017,22:00,19,
12/17/2017,00:00,18.5,NaN
"""

ISO_OFFSETS = """\
timestamp,temp_c
2017-12-16T20:00:00-05:00,20.5
2017-12-17T03:00:00Z,19
2017-12-17T06:00:00+0100,18.5
"""

MONTH_NAMES = """\
Date Time,Temp °C
16-Dec-2017 20:00,20.5
16-Dec-2017 22:00,19
17-Dec-2017 00:00,18.5
"""
