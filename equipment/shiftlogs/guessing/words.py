"""Words over the columns of a log, in a dozen languages, without accents (`cells.plain`).

General words of the trade, from memory; no maker's names. A word that begins or ends with * (or
both) is also found at the end, at the start or inside a longer word: German and Dutch join words.
"x" is no language.
"""

from typing import Final

# Quantities. Those that `roles` turns into roles bear the names of roles without the side.
STROKES: Final = "strokes"
CYCLES: Final = "cycles"
COUNT: Final = "count"  # strokes or cycles: the heading does not say
TEMP: Final = "temp"
PRESSURE: Final = "pressure"
FLOW: Final = "flow"
VOLUME: Final = "volume"
HOURS: Final = "hours"
RUNNING: Final = "running"
TIME: Final = "time"
DATE: Final = "date"
EPOCH: Final = "epoch"
ELAPSED: Final = "elapsed"
ZONE: Final = "zone"
HEAT: Final = "heat"  # a temperature, or how hard a heater works
SERIAL: Final = "serial"  # numbers the rows

# Sides, as headings name them.
ISO: Final = "iso"
RESIN: Final = "resin"
HOSE: Final = "hose"
BOTH: Final = "both"
PAIRS: Final = (("A", "B"), ("left", "right"), ("1", "2"))

WORDS: Final[dict[str, dict[str, str]]] = {
    "double": {
        "en": "double",
        "de": "doppel doppelte",
        "fr": "doubles",
        "es": "doble dobles",
        "it": "doppi doppia doppie",
        "nl": "dubbele dubbel",
        "pt": "duplo duplos dupla",
    },
    CYCLES: {
        "x": "cyc cycs cycl",
        "en": "cycle cycles cyclecount* *cyclecount",
        "fr": "cycle cycles aller allers",
        "de": "zyklus zyklen zykluszahl* zyklenzahl* *doppelhub* dh",
        "es": "ciclo ciclos",
        "it": "ciclo cicli",
        "nl": "cyclus cycli cyclussen *dubbelslag*",
        "pt": "ciclo ciclos",
        "pl": "cykl cykle cykli",
        "cs": "cyklus cykly cyklu",
        "sv": "cykel cykler",
        "tr": "cevrim cevrimi devir",
    },
    STROKES: {
        "x": "str strk strks stk",
        "en": "stroke strokes strokecount* *strokecount",
        "de": (
            "hub hube huebe hubzahl* hubzaehl* *hubzahler* *hubzaehler* *kolbenhub* *einzelhub* "
            "*hube *huebe"
        ),
        "fr": "coup coups course courses battement battements",
        "es": "carrera carreras golpe golpes embolada emboladas",
        "it": "colpo colpi corsa corse pompata pompate",
        "nl": "slag slagen *slagen slagenteller",
        "pt": "curso cursos golpe golpes batida batidas pancada pancadas pistonada pistonadas",
        "sv": "slag slagantal",
        "pl": "suw suwy suwow skok skoki skokow",
        "cs": "zdvih zdvihy zdvihu",
        "fi": "isku iskut iskua",
        "tr": "strok stroklar vurus",
    },
    HEAT: {
        "en": "heat",
    },
    TEMP: {
        "x": "temp tmp *temp t° temp°",
        "en": "temperature temperatures",
        "de": "temperatur *temperatur temperatur*",
        "fr": "temperature temperatures",
        "es": "temperatura temperaturas",
        "it": "temperatura temperature",
        "nl": "temperatuur *temperatuur",
        "pt": "temperatura",
        "pl": "temperatura",
        "cs": "teplota",
        "sv": "temperatur *temperatur",
        "fi": "lampotila",
        "tr": "sicaklik sicakligi isi",
    },
    PRESSURE: {
        "x": "pres prs",
        "en": "pressure press *pressure",
        "de": "druck *druck druck*",
        "fr": "pression",
        "es": "presion",
        "it": "pressione",
        "nl": "druk *druk",
        "pt": "pressao",
        "pl": "cisnienie",
        "cs": "tlak",
        "sv": "tryck tryk trykk *tryck",
        "fi": "paine",
        "tr": "basinc basinci",
    },
    FLOW: {
        "en": "flow flowrate flowmeter throughput",
        "de": "fluss *durchfluss* *volumenstrom* durchsatz",
        "fr": "debit",
        "es": "caudal flujo",
        "it": "portata flusso",
        "nl": "debiet doorstroming",
        "pt": "vazao caudal fluxo",
        "pl": "przeplyw",
        "cs": "prutok",
        "sv": "flode",
    },
    VOLUME: {
        "x": "vol gal gals ltr",
        "en": (
            "gallon gallons volume litre litres liter liters usage used dispensed consumption "
            "consumed sprayed output yield totalizer totaliser pumped totalised totalized"
        ),
        "de": (
            "menge volumen verbrauch *verbrauch* *menge *volumen gefordert fordermenge* "
            "foerdermenge* *fordermenge gefoerdert verbraucht"
        ),
        "fr": "volume quantite consommation consomme",
        "es": "volumen cantidad galones litros consumo",
        "it": "volume quantita litri consumo",
        "nl": "hoeveelheid volume verbruik *verbruik",
        "pt": "volume quantidade litros galoes consumo",
        "pl": "objetosc zuzycie ilosc",
        "cs": "objem spotreba",
        "sv": "volym forbrukning",
    },
    HOURS: {
        "x": "hr hrs hourmeter",
        "en": "hour hours hourmeter runtime",
        "de": "*stunden *stundenzahler* *stundenzaehler* std bh betriebsstd laufzeit",
        "fr": "heures horametre horaire",
        "es": "horas horometro",
        "it": "ore contaore",
        "nl": "uren draaiuren *uren urenteller",
        "pt": "horas horimetro",
        "pl": "godziny motogodziny",
        "cs": "hodiny motohodiny",
        "sv": "timmar drifttimmar timer",
    },
    RUNNING: {
        "x": "run",
        "en": "running runs spraying pumping state status mode active on on-off",
        "de": "betrieb ein lauft laeuft lauf zustand betriebszustand aktiv maschinenstatus",
        "fr": "marche etat fonctionnement statut actif",
        "es": "marcha estado funcionando",
        "it": "marcia stato funzionamento",
        "nl": "bedrijf draait loopt toestand",
        "pt": "ligado funcionamento rodando operando estado",
        "pl": "praca stan",
        "cs": "chod stav",
        "sv": "drift",
    },
    ELAPSED: {
        "x": "dt ms millis msec",
        "en": "elapsed seconds sec secs since uptime",
        "de": "verstrichen vergangen* sekunden verstrichene abgelaufen sek laufzeit",
        "fr": "ecoule ecoulee ecoulees secondes duree",
        "es": "transcurrido transcurridos segundos",
        "it": "trascorso trascorsi secondi",
        "nl": "verstreken seconden",
        "pt": "decorrido segundos",
        "sv": "sekunder",
    },
    EPOCH: {
        "x": "epoch unix unixtime epochtime posix timestamp* tst ts epochs unixts",
    },
    ZONE: {
        "x": "tz utcoffset gmtoffset",
        "en": "timezone zone offset",
        "de": "zeitzone",
        "fr": "fuseau",
        "es": "huso",
        "it": "fuso",
        "nl": "tijdzone",
        "pt": "fuso",
    },
    TIME: {
        "x": "datetime ts",
        "en": "time clock timestamp stamp",
        "de": "zeit uhrzeit *zeitpunkt* zeitstempel *zeit",
        "fr": "heure horodatage temps",
        "es": "hora tiempo",
        "it": "ora orario tempo",
        "nl": "tijd tijdstip",
        "pt": "hora horario tempo",
        "pl": "czas godzina",
        "cs": "cas",
        "sv": "tid klockslag",
        "fi": "aika klo",
        "tr": "saat zaman",
    },
    DATE: {
        "en": "date day",
        "de": "datum tag",
        "fr": "date jour",
        "es": "fecha dia",
        "it": "data giorno",
        "nl": "datum dag",
        "pt": "data dia",
        "cs": "datum",
        "sv": "datum dato",
        "fi": "pvm",
        "tr": "tarih",
    },
    COUNT: {
        "x": "cnt ctr pmp",
        "en": "count counts counter pump pumps tally meter",
        "de": (
            "zahler zaehler *zahler *zaehler zahlerstand zaehlerstand anzahl pumpe pumpen *pumpe "
            "zahlwerk* zaehlwerk*"
        ),
        "fr": "compteur nombre nb pompe compt",
        "es": "contador conteo cuenta bomba",
        "it": "contatore conteggio pompa",
        "nl": "teller tellerstand pomp aantal",
        "pt": "contador contagem bomba",
        "pl": "licznik pompa",
        "cs": "citac cerpadlo",
        "sv": "raknare pump",
        "tr": "sayac sayaci pompa",
    },
    SERIAL: {
        "x": "id idx nr no num row rec seq index record line sample entry #",
        "de": "lfd zeile satz laufnummer datensatz",
        "fr": "ligne numero",
        "es": "fila registro",
        "it": "riga numero",
        "nl": "regel volgnummer",
        "pt": "linha registro",
    },
    ISO: {
        "x": (
            "iso isos isoc mdi pmdi *isocyan* *isocian* *izocyj* *isosyan* *isokyan* *izosiyan* nco"
        ),
    },
    RESIN: {
        "x": "res poly pol polyol* *polyol* poliol* *resin",
        "en": "resin resins",
        "de": "harz *harz* kunstharz",
        "fr": "resine",
        "es": "resina",
        "it": "resina",
        "nl": "hars *hars*",
        "pt": "resina",
        "pl": "zywica",
        "cs": "pryskyrice",
        "sv": "harts",
        "tr": "recine",
    },
    HOSE: {
        "en": "hose hoses *hose",
        "de": "schlauch *schlauch* schlauche heizschlauch*",
        "fr": "tuyau flexible tuyaux",
        "es": "manguera mangueras",
        "it": "tubo tubazione manichetta tubi",
        "nl": "slang *slang*",
        "pt": "mangueira",
        "pl": "waz weza wezyka",
        "cs": "hadice",
        "sv": "slang slange",
        "fi": "letku",
        "tr": "hortum",
    },
    BOTH: {
        "x": "total tot sum combined",
        "en": "both overall",
        "de": "gesamt* *gesamt summe beide",
        "fr": "totale totaux ensemble deux",
        "es": "ambos suma",
        "it": "totale totali entrambi",
        "nl": "totaal beide",
        "pt": "ambos soma",
        "pl": "razem suma",
        "sv": "totalt",
        "cs": "celkem",
    },
    "left": {
        "x": "lh",
        "en": "left",
        "de": "links",
        "fr": "gauche",
        "es": "izquierda izq izquierdo",
        "it": "sinistra sx sinistro",
        "nl": "links",
        "pt": "esquerda esq esquerdo",
        "sv": "vanster",
    },
    "right": {
        "x": "rh",
        "en": "right",
        "de": "rechts",
        "fr": "droite",
        "es": "derecha der derecho",
        "it": "destra dx destro",
        "nl": "rechts",
        "pt": "direita dir direito",
        "sv": "hoger",
    },
    "actual": {
        "x": "act pv ist",
        "en": "actual measured process current reading live now",
        "de": "istwert *istwert* ist gemessen aktuell",
        "fr": "reel reelle mesure mesuree",
        "es": "real medida medido actual",
        "it": "reale misurata misurato attuale",
        "nl": "gemeten werkelijk",
        "pt": "real medido medida",
    },
    "outlet": {
        "en": "outlet out discharge exit",
        "de": "ausgang auslass austritt *ausgang vorlauf",
        "fr": "sortie refoulement",
        "es": "salida descarga",
        "it": "uscita mandata",
        "nl": "uitlaat uitgang",
        "pt": "saida",
    },
    "life": {
        "x": "life ltd odo",
        "en": "lifetime odometer cumulative cum grand accumulated",
        "de": "lebensdauer kumuliert",
        "fr": "vie cumul cumule",
        "es": "acumulado vida",
        "it": "vita cumulato",
        "nl": "levensduur",
        "pt": "acumulado vida",
    },
    "trip": {
        "en": "job batch shift trip today daily session",
        "de": "schicht auftrag tages* heute",
        "fr": "poste chantier journalier",
        "es": "turno trabajo diario",
        "it": "turno lavoro giornaliero parziale",
        "nl": "dienst klus dag",
        "pt": "turno diario parcial",
    },
    "decoy": {
        "x": (
            "sp stp setp sv set tgt lim hi lo hh ll max maxi mini alm batt bat spm cpm rpm hz "
            "amp amps ma vac vdc kw kva kwh ratio pct pwr duty cpu pcb gen gps lat lon lng rh "
            "dew ref avg std dev"
        ),
        "en": (
            "programmed requested request command cmd demand wanted goal alert "
            "setpoint setpoints target targets desired nominal alarm alarms limit limits "
            "threshold warning warn fault faults error errors code event events high low min "
            "minimum maximum ambient outside outdoor room air weather cabinet enclosure panel "
            "board battery volt volts voltage ampere amperes amperage power watt watts rate "
            "speed frequency percent humidity motor engine generator compressor compr oil "
            "hydraulic hyd coolant fuel drum drums barrel tank tote level inlet feed supply "
            "suction transfer return recirc diff differential delta difference deviation "
            "imbalance balance rise service maintenance remaining next gun trigger triggers "
            "purge operator user job recipe comment comments note notes remark serial version "
            "per average mean leak wash solvent lube lubricant in element agitator mixer dryer "
            "water thickness r-value area setting preset default average previous last"
        ),
        "de": (
            "soll sollwert *sollwert* *soll soll* ziel zielwert vorgabe grenzwert *grenz* alarm "
            "*alarm* warnung storung stoerung fehler meldung umgebung* *umgebung* aussen* luft* "
            "raum* batterie* akku* spannung *spannung strom *strom leistung *leistung drehzahl "
            "frequenz takt feuchte motor* *motor oel* ol hydraulik* kuhl* fass* *fass tank* *tank "
            "fullstand* zulauf eingang einlass *eingang zufuhr* rucklauf differenz *differenz "
            "abweichung verhaltnis *verhaltnis wartung* rest* pistole* bediener rezept bemerkung "
            "kommentar kompressor* pro minimal maximal hochst* mittelwert aggregat* "
            "schaltschrank* forderpumpe* foerderpumpe* forderdruck zubringer* einstellung "
            "eingestellt heizstrom"
        ),
        "fr": (
            "consigne consignes cible alarme alarmes limite seuil defaut erreur code ambiante "
            "ambiant exterieure exterieur air batterie tension courant intensite puissance "
            "vitesse cadence frequence humidite moteur huile hydraulique fut futs bidon cuve "
            "reservoir niveau entree alimentation gavage aspiration transfert retour ecart "
            "difference rapport entretien maintenance restant pistolet operateur recette remarque "
            "commentaire compresseur groupe moyenne maximale minimale par reglage reglages regle "
            "programmee programme voulue voulu"
        ),
        "es": (
            "consigna objetivo alarma alarmas limite umbral falla fallo error ambiente exterior "
            "aire bateria voltaje tension corriente potencia velocidad frecuencia humedad motor "
            "aceite hidraulico hidraulica tambor tambores bidon tanque nivel entrada alimentacion "
            "succion trasiego transferencia retorno diferencia relacion mantenimiento restante "
            "pistola operador receta comentario nota compresor ajuste amperaje amperios promedio "
            "maxima minima maximo minimo por barril ritmo programada programado fijada"
        ),
        "it": (
            "setpoint obiettivo allarme allarmi limite soglia guasto errore ambiente esterna "
            "esterno aria batteria tensione corrente potenza velocita frequenza umidita motore "
            "olio idraulico idraulica fusto fusti serbatoio livello ingresso alimentazione "
            "aspirazione travaso ritorno differenza rapporto manutenzione residuo pistola "
            "operatore ricetta nota compressore impostata impostato media massima minima al "
            "cadenza regolazione taratura programmata richiesta"
        ),
        "nl": (
            "streefwaarde ingesteld instelling doel grens storing fout omgeving* *omgeving "
            "buiten* lucht* kamer accu* batterij spanning stroom *stroom vermogen snelheid "
            "toerental frequentie vochtigheid olie* hydrauliek vat* vaten tank niveau inlaat "
            "toevoer* aanvoer* zuig* retour verschil* verhouding onderhoud resterend pistool "
            "bediener recept opmerking compressor per gewenst gewenste insteltemperatuur "
            "gemiddelde"
        ),
        "pt": (
            "setpoint alvo ajuste alarme alarmes limite falha erro ambiente externa externo ar "
            "bateria tensao corrente potencia velocidade frequencia umidade motor oleo "
            "hidraulico tambor tambores tanque nivel entrada alimentacao succao transferencia "
            "retorno diferenca relacao manutencao restante pistola operador receita comentario "
            "compressor por media"
        ),
        "pl": "zadana zadane nastawa otoczenia alarm beczka bateria prad napiecie silnik olej",
        "cs": "zadana pozadovana okoli alarm sud baterie proud napeti motor olej",
        "sv": "borvarde larm omgivning fat batteri strom spanning motor olja",
        "tr": "ayar hedef alarm ortam dis akim voltaj",
    },
}

#: How units are written (`plain`), by those of layout.UNITS and of times; "?": of no use here.
_UNITS: Final = {
    "psi": "psi | psig | psi(g) | lb/in2 | lbs/in2 | lbf/in2 | lb/sq in | pounds/in2",
    "?": (
        "psia | mbar | pa | atm | k | kelvin | imp gal | uk gal | igal | ml "
        "| cc | cm3 | m3 | kg | lb | lbs | g | qt | oz | in3 | cu in | cc/min | ml/min | kg/min "
        "| lb/min | m3/h | g/s | amp | amps | ma | v | volt | volts | vac | vdc | kw | w | kva "
        "| hz | % | rpm | spm | cpm | 1/min | /min | min-1 | u/min | strokes/min | str/min | "
        "hub/min | hube/min | cycles/min | dh/min | coups/min | golpes/min | carreras/min | "
        "colpi/min | ciclos/min | cicli/min | slagen/min | %rh | rh | ppm | mm | ft | m | ohm | "
        "v dc | v ac"
    ),
    "kgf/cm2": "kg/cm2 | kgf/cm2 | kp/cm2",
    "bar": "bar | barg | bars | bares | bar(g)",
    "kPa": "kpa",
    "MPa": "mpa",
    "F": "°f | degf | deg f | f | fahrenheit | grad f | of",
    "C": "°c | degc | deg c | c | celsius | centigrade | oc | grad c | gradc | grados c",
    "gal": (
        "gal | gals | gallon | gallons | us gal | usgal | galones | gallonen | us gallons | galoes"
    ),
    "l": "l | ltr | liter | liters | litre | litres | litros | litri | lt | lit",
    "gal/min": "gpm | gal/min | gal/mn | us gpm",
    "gal/h": "gph | gal/h | gal/hr",
    "l/min": "lpm | l/min | l/mn | lmin | ltr/min | l/m",
    "l/h": "lph | l/h | l/hr",
    "s": (
        "s | sec | secs | second | seconds | sek | sekunden | secondes | segundos | secondi | "
        "seconden | seg"
    ),
    "ms": "ms | msec | millis | milliseconds",
    "us": "us | µs | μs",
    "min": "min | mins | minutes | minuten | minutos | minuti",
    "h": "h | hr | hrs | hour | hours | std | stunden | heures | horas | ore | uren | u",
    "hms": "hh:mm:ss | h:m:s | h:mm:ss | hh:mm",
    "strokes": (
        "stroke | strokes | str | hube | huebe | coups | carreras | colpi | slagen | golpes | "
        "cursos | emboladas"
    ),
    "cycles": (
        "cycle | cycles | cyc | zyklen | ciclos | cicli | cycli | doppelhube | dh | double strokes"
    ),
    "?amp": "a",
}
UNITS: Final = {word.strip(): unit for unit, words in _UNITS.items() for word in words.split("|")}

#: What else stands in a row of units.
_NO_UNITS: Final = (
    "# | (-) | - | -- | 0/1 | 1 | [-] | anzahl | bool | count | counts | date | datum | "
    "dd.mm.yyyy | dd/mm/yyyy | h:m:s | hh:mm | hh:mm:ss | iso | local | mm/dd/yyyy | n | none | "
    "on/off | stck | stk | text | time | tt.mm.jjjj | utc | yyyy-mm-dd | zeit"
)
NO_UNITS: Final = frozenset(each.strip() for each in _NO_UNITS.split("|"))
#: Units that need no bracket: no other word is written so.
_LOUD: Final = (
    "% %rh /min 1/min bar barg celsius coups/min cpm cycles/min degc degf fahrenheit gal/h "
    "gal/min gph gpm hub/min kg/cm2 kgf/cm2 kpa l/h l/min lb/in2 lbf/in2 lbs/in2 lph lpm mbar "
    "mpa psi psig rpm spm strokes/min °c °f"
)
LOUD: Final = frozenset(_LOUD.split())
