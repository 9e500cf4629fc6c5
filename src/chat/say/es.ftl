# All words that people read in Spanish. One line a receipt, clock times, whose rule it is; never a verdict on milk.

# places, sites, states
place-room = a temperatura ambiente
place-cooler = bolsa térmica
place-fridge = refrigerador
place-freezer = congelador
place-deep_freezer = congelador grande
site-work = el trabajo
site-daycare = la guardería
at-site = { $place } en { $site }
state-fresh = fresca
state-frozen = congelada
state-thawing = descongelándose
state-thawed = descongelada
state-warmed = calentada
state-started = empezada
gone-fed = se dio
gone-discarded = se tiró
gone-donated = se donó
gone-combined = se vertió en otro recipiente
gone-sent = se envió
gone-missing = no estaba en el último conteo
gone-never = no está en el registro
side-left = izquierdo
side-right = derecho

# amounts and times
code-of = { $code } ({ $whose })
for-one = para { $child }
amount-ml = { $ml } ml ({ $oz } oz)
amount-oz = { $oz } oz ({ $ml } ml)
amount-about = cerca de { $amount }
day-mon = lun
day-tue = mar
day-wed = mié
day-thu = jue
day-fri = vie
day-sat = sáb
day-sun = dom
month-1 = ene
month-2 = feb
month-3 = mar
month-4 = abr
month-5 = may
month-6 = jun
month-7 = jul
month-8 = ago
month-9 = sep
month-10 = oct
month-11 = nov
month-12 = dic
time-near = { $day } { $time }
time-date = { $day } { $date } { $month } { $time }
time-far = { $date } { $month } { $year }

# until when, by whose rule
until-use-by = usar antes del { $time } ({ $whose })
until-best = mejor antes del { $best }, usar antes del { $time } ({ $whose })
until-use-now = usar ya: { $whose } no da plazo para esto
until-at-once = usarla enseguida ({ $whose })
until-end-of-feed = solo para esta toma ({ $whose })
until-past = fuera de plazo desde el { $time } ({ $whose }): no dar
until-unknown = fecha desconocida: no se ofrece hasta saberla
until-held = apartada: no usar
until-suspect = por revisar: se perdió el frío
whose-plain = { $rules }
whose-care-team = tu equipo de salud
whose-if = { $rules }, si { $condition }
whose-own = su propio límite
condition-temperature = hay { $c } °C o menos
first-of = primero { $code }: { $until }

# receipts
label = { $code } · { $amount } · { $where } · extraída el { $expressed } · { $until }
label-state = { $code } · { $amount } · { $state } · { $where } · extraída el { $expressed } · { $until }
times = { $count } × { $amount }
label-no-age = { $code } · { $amount } · { $where } · { $until }
nothing-kept = { $amount } de leche extraída, no se guardó nada
fed = tomó { $amount } de { $codes } · { $time }
fed-chosen = tomó { $amount } de { $codes }, la que seguía · { $time }
fed-all = { $codes }: se dio todo · { $time }
fed-nowhere = tomó { $amount }, no de un recipiente del registro · { $time }
for-child = { $line } · { $child }
feed-began = tomando de { $codes } desde el { $time }
feed-began-nowhere = tomando desde el { $time }
leftover = { $code } tiene { $amount }, empezada: no cuenta como reserva · { $until }
so-far = una sola toma con la anterior: { $amount }
and-also = { $line } · { $more }
rest = en { $code } quedan { $amount } · { $until }
nursed = pecho · { $time }
nursed-side = pecho { $side } · { $time }
nursed-minutes = pecho, { $minutes } min · { $time }
nursed-side-minutes = pecho { $side }, { $minutes } min · { $time }
formula = fórmula { $amount } · { $time }
formula-open = fórmula · { $time }
did-moved = { $codes } → { $where } · { $until }
did-thawing = { $codes }: descongelándose, { $where } · { $until }
did-thawed = { $codes }: descongelada · { $until }
did-warmed = { $codes }: calentada · { $until }
did-combined = mezcla en un recipiente: { $codes } · { $amount } · { $until }
did-split = { $codes } · { $until }
did-discarded = { $codes }: leche tirada
did-discarded-some = { $amount } de { $codes }: leche tirada
did-discarded-unnamed = se tiraron { $amount }
did-held = { $codes }: apartada, no usar hasta que se libere
did-held-all = { $codes }: apartada, no usar hasta que se libere. Lo que se extraiga desde ahora no lo está: apartarlo también si debe esperar.
did-released = { $codes }: puede volver a usarse · { $until }
did-donated = { $codes }: leche donada
did-sent = { $codes }: enviada hacia { $where } · { $until }
did-returned = { $codes } de vuelta · { $where } · { $until }
did-checked = { $codes }: revisada · { $until }
outage = Sin frío desde el { $time }. Fuera del plan hasta que alguien revise: { $codes }. { $rule } Falta saber, bolsa por bolsa: dura, con hielo o líquida; la del refrigerador: todavía fría o tibia.
outage-since = ¿Desde cuándo? Hasta saberlo, la leche que aparezca líquida cuenta como tibia desde que se guardó ahí.
outage-none = Sin frío desde el { $time }. Ahí no había nada del registro. { $rule }
rule-outage = { $whose }: un refrigerador cerrado conserva el frío cerca de { $fridge }, un congelador lleno { $full }, medio lleno { $half }.
rule-outage-none = { $whose } no da tiempos para esto: no abran, lleven lo que puedan a un lugar frío y pregunten a su equipo de salud.
rule-outage-door = Ningún organismo que conozcamos da un plazo para una puerta que quedó abierta: cuenta lo que se encuentre.
counted = Contados: { $seen }. En el registro: { $books }.
counted-extra = Vistos, pero no están ahí según el registro: { $extra }. Leche sin etiqueta: "1 bolsa de 120 sin fecha al congelador"; queda aparte.
counted-fewer = Contados { $seen }, el registro dice { $books }. ¿Qué números ven? P. ej. "conté el congelador: 1, 2, 4".
counted-more = Contados { $seen }, el registro dice { $books }. Leche sin etiqueta: "1 bolsa de 120 sin fecha al congelador"; queda aparte.
counted-missing = Contados { $seen }, el registro dice { $books }. No se vieron: { $codes }.
not-there = No se ven: { $codes }.
counted-ask = ¿Ya no están? Sí: el registro sigue su conteo. Hasta entonces no se anota nada.
counted-settled = El registro sigue su conteo: { $codes } anotado como que no está.
checked-hard = Sigue dura: queda congelada y su tiempo sigue como antes.
checked-icy-stays = Con cristales de hielo: { $whose } deja volver a congelarla tras un corte de luz. Su tiempo sigue como antes.
checked-icy-thaws = Con cristales de hielo: { $whose } no da permiso para volver a congelarla. Cuenta como descongelándose desde que se perdió el frío; al refrigerador, y úsenla primero.
checked-liquid-cold = Descongelada: su tiempo cuenta desde que se perdió el frío. No se vuelve a congelar.
checked-liquid = Descongelada, y cuenta como tibia desde que se perdió el frío, porque nadie dijo que estuviera fría. ¿Seguía tan fría como en el refrigerador? Entonces deshagan y escriban "{ $codes } líquida pero fría".
checked-cold = Sigue fría: su tiempo sigue como antes.
checked-cold-open = { $codes }: falta revisar, fría al tacto no es una medida. { $rule } ¿Desde cuándo falta el frío, y estuvo cerrado?
checked-warm = Cuenta como tibia desde que se perdió el frío. ¿Seguía tan fría como en el refrigerador? Entonces deshagan y escriban "{ $codes } sigue fría".
checked-unfrozen = { $codes }: según el registro no estaba congelada, así que dura o con hielo no dice nada de ella. ¿Seguía fría o estaba tibia?
checked-unfrozen-open = { $codes }: falta revisar. ¿Seguía fría o estaba tibia?
checked-thawing = { $codes } ya había salido del congelador: cuenta como descongelándose desde entonces, por dura que esté.
checked-since-unknown = Ya no está congelada y nadie sabe desde cuándo: cuenta desde que se guardó ahí. Revisen lo demás que estaba ahí. ¿Desde cuándo falta el frío?
checked-open = ¿Cómo estaba: dura, con hielo o líquida? ¿Y seguía fría?
was-drunk = ⚠ De { $codes } se tomaron { $amount } el { $time }, dado por { $by }.
was-sent = ⚠ { $code } fue a { $where } el { $time }, lo envió { $by }: avísenles.
outage-short = El corte queda deshecho: { $minutes } min. { $rule } ¿Estuvo cerrado todo el tiempo? Si algo empezó a descongelarse, díganme cuál.
outage-not-short = { $minutes } min. { $rule } Falta revisar: { $codes }. Bolsa por bolsa: dura, con hielo o líquida.
limit-stays = { $setting }: { $whose } permite como máximo { $limit }. Un límite propio solo puede ser más estricto. No anoté nada.
limit-none = { $setting }: { $whose } no da una cifra que esto haga más estricta. No anoté nada.
taken-back = deshecho
taken-back-what = deshecho: { $what }
stands = Ahora según el registro: { $list }
stands-one = { $codes } · { $where } · { $until }
noted-since = Anotado de eso desde entonces, y sigue en pie: { $list }. Mira si aún vale.
corrected = corregido: { $line }
corrected-was = corregido, antes { $was }: { $line }
set = anotado: { $setting } { $value }
set-zone = anotado: zona { $value }. Desde ahora leo y digo en ella todas las horas de este grupo, escriba quien escriba y esté donde esté: allí son las { $time }. Otra: "zona horaria Chicago".
paused = en pausa: no digo nada por mi cuenta hasta leer "reanudar"
paused-until = en pausa hasta el { $time }
resumed = sigo
claimed = { $by } se encarga
closed = hecho por { $by }

# beside a receipt
given-past = ⚠ El plazo de { $code } terminó el { $time } según { $whose }. Si el bebé la tomó y hay preocupación, preguntar a tu médico o enfermera.
wrong-milk = ⚠ Paren y guarden el biberón: { $codes } es la leche de { $whose }, no la de { $child }. Avisen ya a las dos familias y llamen al médico.
mixed-owners = ⚠ Leche de { $of } en un recipiente: apartada, no se ofrece a nadie, hasta que la libere una de las personas de quien es.
given-held = ⚠ { $code } está apartada y no debió usarse. Preguntar a quien la apartó.
given-unknown = ⚠ No se sabe de cuándo es { $code } según el registro: no era para ofrecer.
given-suspect = ⚠ { $code } estaba donde se perdió el frío y nadie la ha revisado todavía.
more-than-there = { $amount } más de lo que { $code } tenía en el registro: falta contar.
more-than-there-nowhere = { $amount } no estaban en ningún registro.
cold-not-back = ⚠ Nadie ha dicho si ya volvió el frío ({ $place }): miren antes de guiarse por este plazo.
not-refrozen = { $codes }: la leche que ha salido del congelador cuenta como descongelada, por dura que esté. { $whose } dice que la leche descongelada no se vuelve a congelar. El congelador no le da más tiempo.
not-frozen-now = { $codes }: ya se había calentado. El congelador no le da más tiempo.
never-frozen = Según el registro { $codes } nunca estuvo congelada: sigue su plazo desde la extracción. ¿Era otro número? Entonces deshagan.
hours-away = ¿Estuvo { $codes } en frío todo el camino? Si no, escriban cuánto tiempo estuvo fuera.
seen-again = { $codes } vuelve al registro: su tiempo siguió corriendo.
given-away-started = ⚠ Ya tomaron de { $codes }. Avisen a quien la recibe: solo conserva su tiempo corto.
not-frozen-started = Ya tomaron de { $codes }. No se congela ni se guarda como reserva, y conserva su tiempo corto.
started-mixed = ⚠ Ya habían tomado de { $codes }: todo lo que se mezcló con eso cuenta como empezado.
not-for-sending = { $codes }: ya se tomó de ahí, no se puede enviar. Tirarla cuando termine su plazo.
held-on = Nada se libera solo: después del { $time } escribir "{ $code } ya se puede usar".
left-out = Queda fuera: { $list }. Lo demás está anotado.
label-taken = { $wanted } ya está en uso: este es { $given }
place-open = ¿dónde está? Hasta saberlo: temperatura ambiente
combining-rule = { $whose } sobre mezclar: { $rule }
ask-thaw-how = ¿Cómo se descongela? Hasta saberlo, cuentan las horas a temperatura ambiente.
ask-age = ¿Cuándo se extrajo? Responder, por ejemplo, "fue el 3 de marzo"; hasta entonces { $code } no se ofrece a nadie.

# answers
stock-title = Según nuestro registro:
of-owner = { $whose }: { $line }
of-site = en { $site }: { $line }
called-none = En el registro nada se llama así: { $tags }.
stock-place = { $where }: { $amount } en { $count }
stock-none = nada en el registro
stock-total = en total { $amount }
stock-besides = sin contar: { $list }
besides-started = empezada { $amount }
besides-held = apartada { $amount }
besides-suspect = por revisar { $amount }
besides-past = fuera de plazo { $amount }
besides-unknown = de fecha desconocida { $amount }
besides-sent = enviada { $amount }
total-usable = para usar
total-started = empezada
total-held = apartada
total-suspect = por revisar
total-past = fuera de su plazo
total-unknown = de edad desconocida
total-sent = enviada
caution-started = ya se tomó de ella: no cuenta
next = Sigue: { $code } · { $amount } · { $where } · { $until }
next-started = Primero el biberón empezado { $code } · { $amount } · { $until }
next-none = Según nuestro registro, en casa no hay nada para usar.
next-frozen = Nada sin congelar. La congelada más antigua: { $code } · { $amount } · { $until }
status = { $code } · { $amount } · { $state } · { $where } · extraída el { $expressed } · { $until }
status-none = { $code }: no está en el registro.
status-gone = { $code } { $gone }
status-caution = Solo según nuestro registro, y si se guardó como ahí dice.
expiring-title = Plazos que terminan pronto:
expiring-line = { $code } · { $amount } · { $where } · { $until }
expiring-none = Según nuestro registro, ningún plazo termina en los próximos dos días.
last-meal-bottle = Último biberón: { $amount } el { $time }, lo dio { $by }
last-meal-breast = Último pecho: el { $time }
last-meal-formula = Lo último: fórmula el { $time }, la dio { $by }
last-meal-none = Todavía no hay ninguna toma en el registro.
by-nobody = alguien sin nombrar
days-left = Con { $amount } alcanza para cerca de { $days ->
    [one] 1 día
   *[other] { $days } días
}, a { $daily } por día.
days-left-none = Todavía no puedo saberlo: falta decirme cuánto se necesita al día, por ejemplo "necesitamos 3 biberones de 120 ml".
fed-today = Hoy: { $amount } en { $count ->
    [one] 1 biberón
   *[other] { $count } biberones
}.
pumped-today = Hoy: { $amount } en { $count ->
    [one] 1 extracción
   *[other] { $count } extracciones
}.
plan-need = { $day }: hacen falta { $amount }.
plan-use = Del refrigerador: { $codes } · { $amount }.
plan-thaw = Descongelar { $codes } · { $amount }.
plan-nothing = Nada que descongelar.
plan-over = Sobran { $amount }.
plan-short = Faltan { $amount }.
plan-aside = Queda aparte: { $list }.
aside-suspect = perdió el frío y nadie la ha revisado: { $codes }
aside-held = apartada: { $codes }
aside-unknown = de edad desconocida: { $codes }
plan-from-none = No sacar del congelador antes del { $time }: { $whose } no da tiempos para leche descongelada, así que lo más tarde posible.
plan-from = No sacar del congelador antes del { $time } ({ $whose }).
plan-no-need = No sé cuánto se necesita al día. Por ejemplo: "necesitamos 3 biberones de 120 ml".
summary-day = { $day }: tomó { $fed } (biberones: { $feeds }), leche extraída { $pumped } (extracciones: { $sessions })
summary-title = Los últimos { $days } días, según el registro:
rule-line = { $what }: { $limit }
rule-line-best = { $what }: mejor { $best }, como máximo { $limit }
rule-title = { $whose } ({ $title }), para bebés sanos nacidos a término:
rule-title-entered = { $whose } ({ $title }), hasta anotar lo que dijo el suyo:
rule-none = { $whose } no da plazo para esto: cambiarla de lugar o usarla ya, y preguntar a tu equipo de salud.
rule-unsaid = { $whose } no dice nada de esto: dejarlo hasta que lo diga su equipo de salud.
rule-answer = { $whose }: { $list } ({ $title }).
rule-short-caution = Para bebés sanos nacidos a término; vale la palabra de su equipo de salud.
rule-entered-caution = Lo que diga su equipo de salud vale más que esto.
rule-own-limit = su propio límite, { $clock }: { $limit }
rule-now = usar de inmediato
rule-end-of-feed = terminar esa toma y luego tirarla
rule-end-of-day = hasta que termine el día
milk-fresh = fresca
milk-chilled = fresca sacada del refrigerador
milk-frozen = congelada
milk-thawed = descongelada
milk-warmed = calentada
milk-leftover = resto de una toma
spot-room = ambiente
spot-cooler = bolsa térmica
spot-fridge = refrigerador
spot-ice_compartment = compartimento de hielo dentro del refrigerador
spot-freezer = congelador
spot-deep_freezer = congelador grande
start-expressed = desde que se extrajo
start-placed = desde que se puso ahí
start-first_frozen = desde que se congeló por primera vez
start-left_freezer = desde que salió del congelador
start-fully_thawed = desde que está del todo descongelada
start-warmed = desde que se calentó
start-out_of_cold = desde que salió del frío
start-feed_began = desde que empezó la toma
start-feed_ended = desde que terminó la toma
start-received = desde que llegó
clock-room = ambiente
clock-cooler = bolsa térmica
clock-fridge = refrigerador
clock-freezer = congelador
clock-thawed = descongelada
clock-warmed = calentada
clock-leftover = resto
why-title = { $code }, paso a paso según nuestro registro:
why-step = { $time } · { $state }, { $where } · reloj de { $clock } hasta { $by }
why-step-past = { $time } · { $state }, { $where } · pasado desde { $by }
why-step-open = { $time } · { $state }, { $where }
why-clock = reloj de { $clock }: { $limit } desde { $start } = { $by } ({ $whose })
why-clock-used = reloj de { $clock }: { $limit } en total, { $used } ya gastados antes; desde { $start } = { $by } ({ $whose })
why-decides = Decide el primero que termina: reloj de { $clock }, { $by } ({ $whose }).
why-expired = Su tiempo ya había terminado el { $time }; eso no vuelve.
why-unknown = No se sabe cuándo se extrajo, así que no hay reloj que decir.
why-held = Apartada desde { $time }: no se usa hasta que se libere.
why-suspect = Donde estaba se perdió el frío desde { $time }, y lo dicho desde entonces no aclara qué fue de ella. Sus relojes siguen.
why-door = Donde estaba quedó una puerta abierta desde { $time }, y lo dicho desde entonces no aclara qué fue de ella. Sus relojes siguen.
why-which = ¿Qué recipiente? Por ejemplo: "¿por qué 12?".
rule-refreezing = Volver a congelar: { $rule }
rule-combining = Mezclar: { $rule }
rule-caution = Preguntar a tu equipo de salud si el bebé nació antes de tiempo o está enfermo. El olor no prueba nada, y yo no opino sobre medicinas ni sobre la leche.
span-hours = { $n } h
span-days = { $n ->
    [one] 1 día
   *[other] { $n } días
}
span-months = { $n ->
    [one] 1 mes
   *[other] { $n } meses
}
span-minutes = { $n } min
convert-to-ml = { $oz } oz = { $ml } ml
convert-to-oz = { $ml } ml = { $oz } oz (EE. UU.)
help = Escribir como entre ustedes, por ejemplo:
    "me saqué { $pumped } refri" · "tomó { $fed } dejó { $left }" · "le di la { $fresh }" · "{ $fresh } al congelador"
    "descongelando { $frozen } en el refri" · "tiré { $fresh }" · "¿cuál sigue?" · "¿qué descongelo?"
    "¿cuánta leche hay?" · "¿la { $fresh } todavía sirve?" · "deshacer" · "perdón, no { $fed }" · "igual que antes" · "pausa hasta las 6"
help-child = "{ $child } tomó { $fed }"
help-also = "me saqué { $pumped } refri" · "tomó { $fed } dejó { $left }" · "¿cuál sigue?" · "deshacer"
help-end = El número es la etiqueta que se escribe en el recipiente. Yo llevo el registro y los tiempos publicados; vale lo que diga tu equipo de salud.

# notes of the rule sets
note-us-cdc-refreezing = Nunca volver a congelar lo que se descongeló. Solo después de un corte de luz: mientras todavía tenga cristales de hielo, se puede volver a congelar.
note-us-cdc-combining = Enfriar primero la leche fresca; nunca agregar leche tibia a leche fría o congelada.
note-uk-nhs-refreezing = Nunca volver a congelar lo que se descongeló.
note-au-nhmrc-refreezing = Nunca volver a congelar lo que se descongeló.

# alarms
alarm-to = { $names }: { $line }
emergency-plain = al número de emergencias
emergency-known = al número de emergencias ({ $number })
alarm-unwell = Llamar ahora al médico o { $emergency }. No pueden esperar: fiebre antes de los 3 meses, un bebé que no despierta, que se pone flojo, que devuelve todo o que no moja pañales.
alarm-wrong_milk = Parar la toma y guardar el biberón. Llamar ahora al médico, o { $emergency } si parece enfermo, y avisar a las dos familias.
alarm-dilution = Por favor, no: a la leche nunca se le agrega agua. Si ya se le dio, llamar ahora al médico o { $emergency }. Si la leche no alcanza, preguntar al médico o a la enfermera qué dar.
alarm-colour = Apartar esa leche y no darla. Llamar hoy al médico o a la partera (matrona); si ya la tomó o parece enfermo, llamar ahora al médico o { $emergency }.
alarm-log = El registro puede esperar. Después: qué tomó y cuándo, por ejemplo "tomó { $fed } a las 14:05"; "resumen" muestra los últimos días para el médico.
alarm-log-colour = Después: "apartar { $fresh }" la deja fuera de uso.
medicine = No opino sobre medicinas ni bebidas. Preguntar al médico, a la partera (matrona) o en la farmacia si esta leche se puede dar y cuándo.
medicine-hold = Hasta saberlo, se puede dejar fuera de uso:

# questions
ask-unit = ¿Qué unidad?
ask-which = ¿Cuál?
ask-amount = ¿Cuánto?
ask-place = ¿Dónde está?
ask-time = ¿Qué día o a qué hora?
ask-kind = ¿Qué significa? Todavía no se anotó nada.
ask-count = ¿Ya no están?
ask-whose = ¿De quién es la leche? Todavía no se anotó nada.
ask-child = ¿Qué bebé?
ask-same-feed = { $by } anotó { $amount } · { $time }. ¿Es la misma toma? No se anotó nada más todavía.
ask-same-feed-open = { $by } anotó una toma · { $time }. ¿Es la misma? No se anotó nada más todavía.
ask-same-pump = { $by } anotó { $amount } extraídos · { $time }. ¿Es la misma extracción? No se anotó nada más todavía.
ask-same-pump-open = { $by } anotó una extracción · { $time }. ¿Es la misma? No se anotó nada más todavía.
noted-once = La misma: queda como estaba anotada.
pick-other = ¿Cuál fue?
not-answered = Nadie respondió: no se anotó.
not-noted = No se anotó.
not-noted-list = No se anotó, porque nadie respondió: { $list }. Escribirlo otra vez si cuenta.
not-noted-one = { $by } { $time } "{ $text }"

# what can't be done
no-such = { $codes }: no está en el registro. No se anotó nada de este mensaje.
no-such-child = No conozco a { $child }. Basta decirlo una vez, por ejemplo "{ $child } nació el 2027-01-05". No se anotó nada.
already-gone = { $code } ya { $gone }. No se anotó nada.
there-after-all = Otra vez en el registro: { $codes }. Lo que se escribió mientras tanto no se anotó: hay que escribirlo de nuevo.
none-frozen = No hay tantos recipientes congelados en el registro. No se anotó nada.
none-unfrozen = No hay tantos recipientes sin congelar en el registro. No se anotó nada.
none-sent = En el registro no hay nada enviado. No se anotó nada.
none-any = Ningún recipiente del registro corresponde a eso. No se anotó nada.
set-aside = No hay tantos que se puedan usar: { $list }. No anoté nada.
set-aside-one = { $codes }: { $until }
amount-missing = ¿Cuánto fue? Por ejemplo: "me saqué 120 refri". Todavía no se anotó nada.
which-one = ¿Qué recipiente? Falta su número, por ejemplo "12 al congelador". No se anotó nada.
nothing-to-undo = Aquí no hay nada tuyo que deshacer.
nothing-to-correct = No sé qué corrige eso. Hay que responder al mensaje equivocado.
not-yours = Solo quien lo dijo puede deshacerlo, y solo quien se extrae la leche puede liberarla.
nothing-asked = Esa pregunta ya está cerrada.
bad-setting = { $setting }: no se entiende "{ $value }"; por ejemplo: { $example }
unknown-setting = no existe el ajuste "{ $setting }"
unreadable = Solo puedo leer texto. Escribirlo así: "me saqué { $pumped } refri", "tomó { $fed } dejó { $left }"; o poner las palabras debajo de la foto.
mishandled = No pude procesar este mensaje. No se anotó nada de él; por favor, escribirlo de otra manera.
welcome = Hola. Desde ahora llevo el registro de leche extraída de este grupo, con los tiempos de { $whose } mientras no se diga otra cosa. Con "ayuda" se ve qué se puede escribir. Llevo un registro, nada más: vale lo que diga tu equipo de salud.
sees-only-commands = Aquí no puedo ver los mensajes normales. Falta hacerme administrador del grupo, o apagar mi modo de privacidad y agregarme otra vez.
not-taken-on = Este grupo todavía no está dado de alta: hay que escribir /start y el código de configuración.
wrong-code = Ese no es el código de configuración.
too-many-guesses = Demasiados códigos equivocados. El próximo se mira en { $minutes } min.
private-chat = Trabajo en el grupo de la familia. Hay que agregarme ahí y escribir /start y el código de configuración.
log-stuck = Por ahora no puedo escribir mi registro. Lo que escriban se guarda y lo leo en cuanto pueda; hasta entonces no se anota nada y puede faltar algún recordatorio. Guíense por las etiquetas.

# readings offered by a question
reading-pump = extraída { $details }
reading-store = guardada { $details }
reading-feed = tomó { $details }
reading-formula = fórmula { $details }
reading-move = mover { $details }
reading-thaw = descongelar { $details }
reading-hold = apartar { $details }
reading-outage = se perdió el frío { $details }
reading-warm = calentar { $details }
reading-thawed = descongelada { $details }
reading-check = revisar { $details }
reading-combine = mezclar { $details }
reading-split = repartir { $details }
reading-donate = donar { $details }
reading-release = liberar { $details }
reading-nurse = pecho { $details }
reading-send = enviada { $details }
reading-return = { $details } ha vuelto
reading-discard = tirada { $details }
reading-other = { $details }
count-containers = { $count ->
    [one] 1 recipiente
   *[other] { $count } recipientes
}
number-code = #{ $code }

# answers to a question in words, with a bar between them
answer-first = primero|primera|el primero|la primera|lo primero
answer-second = segundo|segunda|el segundo|la segunda|lo segundo
answer-third = tercero|tercera|el tercero|la tercera|lo tercero
answer-ml = ml|mililitros|en ml
answer-other = el otro|la otra|no, el otro|no, la otra
answer-same = igual|la misma|el mismo|lo mismo|misma toma|la misma toma|es la misma|sí, la misma|si la misma
answer-another = otra|otro|otra toma|es otra|distinta|una distinta|no, otra|no otra|dos tomas|las dos
answer-filler = no|era|fue|es|el|la|los|las|de|del|ese|esa|un|una|bolsa|biberón|biberon|número|numero|toma|sí|si|en|,
answer-correcting = no|era|fue|mejor|espera
answer-since = desde
answer-outage = luz|corriente|electricidad|fue|cortó|perdón|ay|se|la|las|a
answer-one = el|la|los|las
answer-oz = oz|onzas|en onzas
answer-in-fridge = refrigerador|refri|nevera|heladera|frigo|frigorífico|frigorifico
answer-in-freezer = congelador|freezer|al congelador|al freezer
answer-in-water = agua tibia|agua|baño maría|baño maria|al baño maría|al baño maria
answer-in-room = ambiente|temperatura ambiente|a temperatura ambiente|al ambiente|afuera|fuera|mesa|sobre mesa|encimera|sobre encimera|mesada|mostrador

# buttons
button-undo = Deshacer
button-yes = Sí
button-same = La misma
button-another = Otra
button-other = Otro recipiente
button-why = ¿Por qué?
button-on-it = Yo me encargo
button-done = Hecho
button-poured = Servida aparte
button-place-room = Ambiente
button-place-cooler = Bolsa térmica
button-place-fridge = Refrigerador
button-place-freezer = Congelador
button-place-deep_freezer = Congelador grande
button-how-fridge = Refrigerador
button-how-warm_water = Agua tibia
button-how-room = Ambiente

# reminders
remind-room-soon = { $name }: { $codes } · fuera del frío · { $until }. Al refrigerador, o usarla. Hecho = está en el refrigerador.
remind-cooler-soon = { $name }: { $codes } · en la bolsa térmica · { $until }. Al refrigerador, o usarla. Hecho = está en el refrigerador.
remind-warmed-soon = { $name }: { $codes } · calentada · { $until }.
remind-fridge-soon = { $codes } · en el refrigerador · { $until }. Usarla o congelarla. Hecho = está en el congelador.
remind-thawed-soon = { $codes } · descongelada · { $until }. No se puede volver a congelar.
remind-freezer-soon = { $codes } · en el congelador · { $until }. Usarla primero.
remind-past = { $codes } · fuera de plazo desde el { $time } según { $whose }. No darla. Hecho = tirada.
remind-leftover-past = Biberón empezado { $codes } · fuera de plazo desde el { $time } según { $whose }. Tirarlo. Hecho = tirado.
remind-plan = { $plan }
remind-check-due = { $codes }: estaba donde se perdió el frío. ¿Cómo se encontró: dura, con hielo o líquida?
remind-check-due-unfrozen = { $codes }: estaba donde se perdió el frío. ¿Sigue tan fría como en el refrigerador o está tibia?
remind-check-due-both = { $codes }: estaba donde se perdió el frío. ¿Cómo se encontró: dura, con hielo o líquida? Y la del refrigerador, ¿fría o tibia?
remind-held-due = { $name }: { $codes } sigue apartada. Liberarla o tirarla, según se decida.
somebody = Quien esté ahí
and-so-on = { $list }
code-amount = { $code } · { $amount }
code-amount-site = { $code } · { $amount } en { $site }

# commands, as the platform offers them
command-help = Qué se puede escribir aquí
command-stock = Qué hay, y hasta cuándo
command-next = Cuál se usa ahora
command-thaw = Qué descongelar para mañana
command-undo = Deshacer lo último que se dijo
