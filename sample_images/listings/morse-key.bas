10 REM MORSE KEY
20 DIM M$(26)
30 FOR I=1 TO 26:READ M$(I):NEXT I
40 INPUT "MESSAGE";A$:IF A$="" THEN 40
50 FOR I=1 TO LEN(A$)
60 C=ASC(MID$(A$,I,1))-64
70 IF C<1 OR C>26 THEN PRINT "/ ";:GOTO 90
80 PRINT M$(C);" ";
90 NEXT I
100 PRINT
200 DATA .-,-...,-.-.,-..,.,..-.,--.,....,..,.---,-.-,.-..,--
210 DATA -.,---,.--.,--.-,.-.,...,-,..-,...-,.--,-..-,-.--,--..
