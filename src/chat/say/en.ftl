# All words that people read in English. One line a receipt, clock times, whose rule it is; never a verdict on milk.

# places, sites, states
place-room = room
place-cooler = cooler
place-fridge = fridge
place-freezer = freezer
place-deep_freezer = deep freezer
site-work = work
site-daycare = child care
at-site = { $place } at { $site }
state-fresh = fresh
state-frozen = frozen
state-thawing = thawing
state-thawed = thawed
state-warmed = warmed
state-started = started
gone-fed = was fed
gone-discarded = was thrown away
gone-donated = was donated
gone-combined = was poured into another
gone-sent = was sent away
gone-missing = was not there at the last count
gone-never = is not on the books
side-left = left
side-right = right

# amounts and times
code-of = { $code } ({ $whose })
for-one = for { $child }
amount-ml = { $ml } ml ({ $oz } oz)
amount-oz = { $oz } oz ({ $ml } ml)
amount-about = about { $amount }
day-mon = Mon
day-tue = Tue
day-wed = Wed
day-thu = Thu
day-fri = Fri
day-sat = Sat
day-sun = Sun
month-1 = Jan
month-2 = Feb
month-3 = Mar
month-4 = Apr
month-5 = May
month-6 = Jun
month-7 = Jul
month-8 = Aug
month-9 = Sep
month-10 = Oct
month-11 = Nov
month-12 = Dec
time-near = { $day } { $time }
time-date = { $day } { $date } { $month } { $time }
time-far = { $date } { $month } { $year }

# until when, by whose rule
until-use-by = use by { $time } ({ $whose })
until-best = best by { $best }, use by { $time } ({ $whose })
until-use-now = use it now: { $whose } gives no time for this
until-at-once = use it at once ({ $whose })
until-end-of-feed = for this feed only ({ $whose })
until-past = past since { $time } ({ $whose }): don't feed
until-unknown = age unknown: not offered before it is known
until-held = on hold: not to be used
until-suspect = to be looked at: the cold was lost
whose-plain = { $rules }
whose-care-team = your care team
whose-if = { $rules }, if { $condition }
whose-own = your own limit
condition-temperature = { $c } °C or colder
first-of = { $code } first: { $until }

# receipts
label = { $code } · { $amount } · { $where } · expressed { $expressed } · { $until }
label-state = { $code } · { $amount } · { $state } · { $where } · expressed { $expressed } · { $until }
times = { $count } × { $amount }
label-no-age = { $code } · { $amount } · { $where } · { $until }
nothing-kept = { $amount } pumped, none kept
fed = { $amount } fed from { $codes } · { $time }
fed-chosen = { $amount } fed from { $codes }, the one to go next · { $time }
fed-all = { $codes } fed · { $time }
fed-nowhere = { $amount } fed, not from a container on the books · { $time }
for-child = { $line } · { $child }
feed-began = feeding from { $codes } since { $time }
feed-began-nowhere = feeding since { $time }
leftover = { $code } holds { $amount }, started: no stock · { $until }
so-far = one feed with that before: { $amount }
and-also = { $line } · { $more }
rest = { $code } keeps { $amount } · { $until }
nursed = nursed { $time }
nursed-side = nursed, { $side } · { $time }
nursed-minutes = nursed { $minutes } min · { $time }
nursed-side-minutes = nursed, { $side }, { $minutes } min · { $time }
formula = formula { $amount } · { $time }
formula-open = formula · { $time }
did-moved = { $codes } → { $where } · { $until }
did-thawing = { $codes } thawing, { $where } · { $until }
did-thawed = { $codes } thawed · { $until }
did-warmed = { $codes } warmed · { $until }
did-combined = poured together: { $codes } · { $amount } · { $until }
did-split = { $codes } · { $until }
did-discarded = { $codes } thrown away
did-discarded-some = { $amount } of { $codes } thrown away
did-discarded-unnamed = { $amount } thrown away
did-held = { $codes } on hold: not to be used until it is released
did-held-all = { $codes } on hold: not to be used until it is released. What is pumped from now on isn't: hold it as well if it must wait.
did-released = { $codes } may be used again · { $until }
did-donated = { $codes } donated
did-sent = { $codes } sent to { $where } · { $until }
did-returned = { $codes } back · { $where } · { $until }
did-checked = { $codes } looked at · { $until }
outage = Cold lost since { $time }. Out of the plan until somebody looks: { $codes }. { $rule } Tell me bag by bag: hard, icy or liquid; fridge milk: still cold or warm.
outage-since = Since when? Until I know, milk that is found soft counts as warm from when it was put there.
outage-none = Cold lost since { $time }. Nothing on the books lay there. { $rule }
rule-outage = { $whose }: a shut fridge stays cold about { $fridge }, a full freezer { $full }, half full { $half }.
rule-outage-none = { $whose } gives no times for this: keep it shut, move what you can somewhere cold, and ask your care team.
rule-outage-door = No publisher that we know gives a time for a door that stood open: go by what you find.
counted = Counted { $seen }, the books say { $books }.
counted-extra = Seen but not there by the books: { $extra }. Milk without a label: "1 bag of 120 without a date in the freezer"; it is kept apart.
counted-fewer = Counted { $seen }, the books say { $books }. Which numbers do you see? E.g. "counted the freezer: 1, 2, 4".
counted-more = Counted { $seen }, the books say { $books }. Milk without a label: "1 bag of 120 without a date in the freezer"; it is kept apart.
counted-missing = Counted { $seen }, the books say { $books }. Not seen: { $codes }.
not-there = Not seen: { $codes }.
counted-ask = Are they gone? Yes: the books follow your count. Until then nothing is noted.
counted-settled = The books follow your count: { $codes } noted as not there.
checked-hard = Still hard: it stays frozen, and its time runs on as before.
checked-icy-stays = Ice crystals: { $whose } lets it be frozen again after a power cut. Its time runs on as before.
checked-icy-thaws = Ice crystals: { $whose } gives no leave to freeze it again. It counts as thawing from when the cold was lost; into the fridge, and use it first.
checked-liquid-cold = Thawed: its time counts from when the cold was lost. It isn't frozen again.
checked-liquid = Thawed, and counted as warm since the cold was lost, for nobody said that it was cold. Was it still as cold as a fridge? Then undo and write "{ $codes } liquid but cold".
checked-cold = Still cold: its time runs on as before.
checked-cold-open = { $codes }: still to be looked at, for cold to the touch is no measure. { $rule } Since when was the cold lost, and was it shut?
checked-warm = Counted as warm since the cold was lost. Was it still as cold as a fridge? Then undo and write "{ $codes } still cold".
checked-unfrozen = { $codes }: not frozen by the books, so hard or icy says nothing of it. Was it still cold, or warm?
checked-unfrozen-open = { $codes }: still to be looked at. Was it still cold, or warm?
checked-thawing = { $codes } had left the freezer: it counts as thawing from then on, however hard it is.
checked-since-unknown = Not frozen any more, and nobody knows since when: it counts from when it was put there. Look at the others that lay there. Since when was the cold lost?
checked-open = What did you find: hard, icy or liquid? And was it still cold?
was-drunk = ⚠ Of { $codes } { $amount } was drunk at { $time }, given by { $by }.
was-sent = ⚠ { $code } was sent to { $where } at { $time } by { $by }: tell them.
outage-short = The outage is taken back: { $minutes } min. { $rule } Was it shut all that time? If anything had begun to thaw, tell me which.
outage-not-short = { $minutes } min. { $rule } Still to be looked at: { $codes }. Tell me bag by bag: hard, icy or liquid.
limit-stays = { $setting }: { $whose } allows at most { $limit }. A limit of your own can only be stricter. Nothing noted.
limit-none = { $setting }: { $whose } has no figure that this would make stricter. Nothing noted.
taken-back = taken back
taken-back-what = taken back: { $what }
stands = By the log now: { $list }
stands-one = { $codes } · { $where } · { $until }
noted-since = Noted of it since, and it stands: { $list }. Look whether that still holds.
corrected = corrected: { $line }
corrected-was = corrected, before { $was }: { $line }
set = noted: { $setting } { $value }
set-zone = noted: zone { $value }. From now on I read and tell all times of this group in it, whoever writes, wherever they are: it is { $time } there. Another: "time zone Chicago".
paused = paused: I say nothing unasked until you write "resume"
paused-until = paused until { $time }
resumed = going on
claimed = { $by } is on it
closed = done by { $by }

# beside a receipt
given-past = ⚠ { $code } was past its time at { $time } by { $whose }'s times. If it was drunk and you are worried, ask your doctor or nurse.
wrong-milk = ⚠ Stop and keep the bottle: { $codes } is { $whose }'s milk, not { $child }'s. Tell both families now, and call the doctor.
mixed-owners = ⚠ Milk of { $of } in one container: on hold, offered to nobody, until one of those whose milk it is releases it.
given-held = ⚠ { $code } is on hold and should not have been used. Ask whoever put it on hold.
given-unknown = ⚠ The age of { $code } is unknown by our log: it was to be offered to nobody.
given-suspect = ⚠ { $code } lay where the cold was lost and nobody has looked at it yet.
more-than-there = { $amount } more than { $code } held by the books: please count.
more-than-there-nowhere = { $amount } was on no books.
cold-not-back = ⚠ Nobody has said that the { $place } is cold again: look before you go by this time.
not-refrozen = { $codes }: milk that was out of the freezer counts as thawed, however hard it is. { $whose } says milk that has thawed is not frozen again. The freezer gives it no new time.
not-frozen-now = { $codes } had been warmed: the freezer gives it no new time.
never-frozen = By the books { $codes } never was frozen: its time from when it was expressed goes on. Another number? Then undo.
hours-away = Was { $codes } in the cold all the way? If not, write how long it was out.
seen-again = { $codes } is on the books again: its time ran on.
given-away-started = ⚠ Drunk from: { $codes }. Tell whoever gets it: it keeps only its short time.
not-frozen-started = Drunk from: { $codes }. It is never frozen or kept as stock, and keeps its short time.
started-mixed = ⚠ { $codes } had been drunk from: all that it was poured into counts as started.
not-for-sending = Drunk from, so not to be sent: { $codes }. Throw it away at its time.
held-on = No hold ends by itself: after { $time } write "{ $code } is ok to use again".
left-out = Left out: { $list }. The rest is noted.
label-taken = { $wanted } is taken: this one is { $given }
place-open = where is it? Until you say: room
combining-rule = { $whose } on mixing: { $rule }
ask-thaw-how = How is it thawing? Until you say, the hours in the room count.
ask-age = When was it expressed? Reply "that was 3 March", say; until then { $code } is offered to nobody.

# answers
stock-title = By our log:
of-owner = { $whose }: { $line }
of-site = at { $site }: { $line }
called-none = Nothing on the books is called so: { $tags }.
stock-place = { $where }: { $amount } in { $count }
stock-none = nothing on the books
stock-total = together { $amount }
stock-besides = not counted: { $list }
besides-started = started { $amount }
besides-held = on hold { $amount }
besides-suspect = to be looked at { $amount }
besides-past = past its time { $amount }
besides-unknown = of unknown age { $amount }
besides-sent = sent { $amount }
total-usable = to be used
total-started = started
total-held = on hold
total-suspect = to be looked at
total-past = past its time
total-unknown = of unknown age
total-sent = sent
caution-started = drunk from: no stock
next = Next: { $code } · { $amount } · { $where } · { $until }
next-started = First the started bottle { $code } · { $amount } · { $until }
next-none = By our log there is nothing to use at home.
next-frozen = Nothing unfrozen. Oldest frozen: { $code } · { $amount } · { $until }
status = { $code } · { $amount } · { $state } · { $where } · expressed { $expressed } · { $until }
status-none = Not on the books: { $code }.
status-gone = { $code } { $gone }
status-caution = By our log only, and if it was kept as it says.
expiring-title = Runs out next:
expiring-line = { $code } · { $amount } · { $where } · { $until }
expiring-none = Nothing runs out in the next two days by our log.
last-meal-bottle = Last bottle: { $amount } at { $time }, given by { $by }
last-meal-breast = Last nursed at { $time }
last-meal-formula = Last: formula at { $time }, given by { $by }
last-meal-none = No feed is logged yet.
by-nobody = nobody named
days-left = { $amount } lasts about { $days } days at { $daily } a day.
days-left-none = I can't tell yet: tell me what a day needs, e.g. "we need 3 bottles of 120 ml".
fed-today = Today: { $amount } in { $count ->
    [one] 1 bottle
   *[other] { $count } bottles
}.
pumped-today = Today: { $amount } in { $count ->
    [one] 1 session
   *[other] { $count } sessions
}.
plan-need = { $day } needs { $amount }.
plan-use = From the fridge: { $codes } · { $amount }.
plan-thaw = Thaw { $codes } · { $amount }.
plan-nothing = Nothing to thaw.
plan-over = { $amount } more than needed.
plan-short = { $amount } is missing.
plan-aside = Left aside: { $list }.
aside-suspect = lost its cold and nobody has looked: { $codes }
aside-held = on hold: { $codes }
aside-unknown = of unknown age: { $codes }
plan-from-none = Not out of the freezer before { $time }: { $whose } gives no time for thawed milk, so as late as you can.
plan-from = Not out of the freezer before { $time } ({ $whose }).
plan-no-need = I don't know what a day needs. Tell me, e.g. "we need 3 bottles of 120 ml".
summary-day = { $day }: drunk { $fed } in { $feeds } bottles, pumped { $pumped } in { $sessions } sessions
summary-title = The last { $days } days, as logged:
rule-line = { $what }: { $limit }
rule-line-best = { $what }: best { $best }, at most { $limit }
rule-title = { $whose } ({ $title }), for healthy babies born at term:
rule-title-entered = { $whose } ({ $title }), until you enter what yours told you:
rule-none = { $whose } gives no time for this: move it or use it now, and ask your care team.
rule-unsaid = { $whose } says nothing of this: leave it until your care team has said.
rule-answer = { $whose }: { $list } ({ $title }).
rule-short-caution = For healthy babies born at term; your care team's word counts.
rule-entered-caution = What your care team told you counts before this.
rule-own-limit = your own limit, { $clock }: { $limit }
rule-now = use it at once
rule-end-of-feed = finish that feed, then throw it away
rule-end-of-day = until the day ends
milk-fresh = fresh
milk-chilled = fresh out of the fridge
milk-frozen = frozen
milk-thawed = thawed
milk-warmed = warmed
milk-leftover = left over from a feed
spot-room = room
spot-cooler = cooler
spot-fridge = fridge
spot-ice_compartment = ice compartment inside a fridge
spot-freezer = freezer
spot-deep_freezer = deep freezer
start-expressed = from when it was expressed
start-placed = from when it was put there
start-first_frozen = from when it was first frozen
start-left_freezer = from leaving the freezer
start-fully_thawed = from when it is fully thawed
start-warmed = from when it was warmed
start-out_of_cold = from when it came out of the cold
start-feed_began = from when the feed began
start-feed_ended = from when the feed ended
start-received = from when it got there
clock-room = room
clock-cooler = cooler
clock-fridge = fridge
clock-freezer = freezer
clock-thawed = thawed
clock-warmed = warmed
clock-leftover = left over
why-title = { $code }, step by step by our log:
why-step = { $time } · { $state }, { $where } · { $clock } clock until { $by }
why-step-past = { $time } · { $state }, { $where } · past since { $by }
why-step-open = { $time } · { $state }, { $where }
why-clock = { $clock } clock: { $limit } since { $start } = { $by } ({ $whose })
why-clock-used = { $clock } clock: { $limit } in all, { $used } of it used up before; since { $start } = { $by } ({ $whose })
why-decides = The first to end decides: { $clock } clock, { $by } ({ $whose }).
why-expired = Its time was over at { $time } already; that never comes back.
why-unknown = When it was expressed isn't known, so no clock can be told.
why-held = On hold since { $time }: not to be used before it is released.
why-suspect = The cold was lost where it lay, from { $time } on, and what was said since doesn't settle what became of it. Its clocks run on.
why-door = A door stood open where it lay, from { $time } on, and what was said since doesn't settle what became of it. Its clocks run on.
why-which = Which container? Ask for example "why 12?".
rule-refreezing = Freezing again: { $rule }
rule-combining = Mixing: { $rule }
rule-caution = Ask your care team where your baby was early or is ill. A smell proves nothing, and I give no verdict on medicines or on milk.
span-hours = { $n } h
span-days = { $n } days
span-months = { $n } months
span-minutes = { $n } min
convert-to-ml = { $oz } oz = { $ml } ml
convert-to-oz = { $ml } ml = { $oz } oz (US)
help = Write as you would to each other, e.g.
    "pumped { $pumped } fridge" · "fed { $fed } left { $left }" · "gave { $fresh }" · "{ $fresh } to the freezer"
    "thawing { $frozen } in the fridge" · "tossed { $fresh }" · "which one next?" · "what do I thaw?"
    "how much do we have?" · "is { $fresh } still ok?" · "undo" · "sorry, not { $fed }" · "same again" · "pause until 6"
help-child = "fed { $child } { $fed }"
help-also = "pumped { $pumped } fridge" · "fed { $fed } left { $left }" · "which one next?" · "undo"
help-end = The number is the label to write on the container. I keep the log and the published times; your care team's word counts.

# notes of the rule sets
note-us-cdc-refreezing = Never freeze again what has thawed. Only after a power cut: while ice crystals are still in it, it may be refrozen.
note-us-cdc-combining = Cool the fresh milk first; never add warm milk to cold or frozen milk.
note-uk-nhs-refreezing = Never freeze again what has thawed.
note-au-nhmrc-refreezing = Never freeze again what has thawed.

# alarms
alarm-to = { $names }: { $line }
emergency-plain = the emergency number
emergency-known = the emergency number ({ $number })
alarm-unwell = Call your doctor or { $emergency } now. A fever under 3 months, a baby who won't wake, goes floppy, brings everything up or has no wet nappies can't wait.
alarm-wrong_milk = Stop the feed and keep the bottle. Call your doctor now, or { $emergency } if the child seems unwell, and tell both families.
alarm-dilution = Please don't: water is never added to milk. If some was given, call your doctor or { $emergency } now. If the milk doesn't reach, ask your doctor or nurse what to give.
alarm-colour = Set that milk aside and don't feed it. Call your doctor or midwife about it today; if it was drunk or your child seems unwell, call your doctor or { $emergency } now.
alarm-log = The log can wait. Afterwards: what was drunk and when, e.g. "fed { $fed } at 14:05"; "summary" shows the last days for the doctor.
alarm-log-colour = Afterwards: "hold { $fresh }" keeps that milk out of use.
medicine = I give no verdict on medicines or drinks. Ask your doctor, midwife or pharmacist whether and when this milk may be given.
medicine-hold = Until you know, it can be kept out of use:

# questions
ask-unit = Which unit?
ask-which = Which one?
ask-amount = How much?
ask-place = Where is it?
ask-time = Which day or time?
ask-kind = What is meant? Nothing is noted yet.
ask-count = Are they gone?
ask-whose = Whose milk? Nothing is noted yet.
ask-child = Which child?
ask-same-feed = { $by } noted { $amount } · { $time }. The same feed? Nothing more is noted yet.
ask-same-feed-open = { $by } noted a feed · { $time }. The same one? Nothing more is noted yet.
ask-same-pump = { $by } noted { $amount } pumped · { $time }. The same session? Nothing more is noted yet.
ask-same-pump-open = { $by } noted a session · { $time }. The same one? Nothing more is noted yet.
noted-once = The same: it stands as noted before.
pick-other = Which one was it?
not-answered = Nobody answered: not noted.
not-noted = Not noted.
not-noted-list = Not noted, for nobody answered: { $list }. Write it again if it counts.
not-noted-one = { $by } { $time } "{ $text }"

# what can't be done
no-such = Not on the books: { $codes }. Nothing of this message was noted.
no-such-child = I know no child called { $child }. Tell me once, e.g. "{ $child } born 2027-01-05". Nothing noted.
already-gone = { $code } { $gone } already. Nothing of this message was noted.
there-after-all = On the books again: { $codes }. What was written of it in between was not noted: please write that again.
none-frozen = There aren't that many frozen containers on the books. Nothing noted.
none-unfrozen = There aren't that many unfrozen containers on the books. Nothing noted.
none-sent = Nothing on the books was sent away. Nothing noted.
none-any = No container on the books fits that. Nothing noted.
set-aside = Not that many are free to be used: { $list }. Nothing noted.
set-aside-one = { $codes }: { $until }
amount-missing = How much was it? E.g. "pumped 120 fridge". Nothing noted yet.
which-one = Which container? Say its number, e.g. "12 to the freezer". Nothing noted.
nothing-to-undo = You have nothing here to take back.
nothing-to-correct = I don't know what that corrects. Reply to the message that was wrong.
not-yours = Only the one who said it can take it back, and only the one who pumps can release milk on hold.
nothing-asked = That question is closed.
bad-setting = { $setting }: "{ $value }" can't be read; for example: { $example }
unknown-setting = there is no setting "{ $setting }"
unreadable = I can only read text. Write it like this: "pumped { $pumped } fridge", "fed { $fed } left { $left }"; or put the words under the picture.
mishandled = I could not handle this message. Nothing of it is noted; please write it another way.
welcome = Hello. From now on I keep the milk log of this group, by { $whose }'s times until you say otherwise. Write "help" for what you can write. I keep a log, no more: your care team's word counts.
sees-only-commands = I can't see plain messages here. Make me an administrator of the group, or turn my privacy mode off and add me again.
not-taken-on = This group isn't taken on yet: write /start and the set-up code.
wrong-code = That is not the set-up code.
too-many-guesses = Too many wrong codes. The next one is looked at in { $minutes } min.
private-chat = I work in your family's group. Add me there and write /start and the set-up code.
log-stuck = I can't write my log at the moment. What you write is kept and read as soon as I can; until then nothing is noted, and no reminder is sure to come. Go by the labels.

# readings offered by a question
reading-pump = pumped { $details }
reading-store = put away { $details }
reading-feed = fed { $details }
reading-formula = formula { $details }
reading-move = move { $details }
reading-thaw = thaw { $details }
reading-hold = hold { $details }
reading-outage = the cold was lost { $details }
reading-warm = warm { $details }
reading-thawed = thawed { $details }
reading-check = look at { $details }
reading-combine = pour together { $details }
reading-split = pour apart { $details }
reading-donate = donate { $details }
reading-release = release { $details }
reading-nurse = breastfeed { $details }
reading-send = sent { $details }
reading-return = { $details } is back
reading-discard = thrown away { $details }
reading-other = { $details }
count-containers = { $count ->
    [one] 1 container
   *[other] { $count } containers
}
number-code = #{ $code }

# answers to a question in words, with a bar between them
answer-first = first|the first|the first one|1st
answer-second = second|the second|the second one|2nd
answer-third = third|the third|the third one|3rd
answer-ml = ml|mls|milliliters|millilitres|in ml
answer-other = the other|the other one|other one|no, the other one|no the other one
answer-same = same|the same|same one|same feed|the same feed|same one yes|yes same|yes, same|yes the same|it's the same|its the same
answer-another = another|another one|a different one|different|different one|another feed|a new one|new one|no another|no, another|no, another one|two feeds|both
answer-filler = no|nope|it|was|is|its|it's|the|actually|that|not|that's|thats|one|from|bag|bottle|number|i|meant|mean|a|an|my|feed|yes|,
answer-correcting = no|nope|actually|it|i|not|wait
answer-since = since
answer-outage = power|out|off|went|hm|hmm|sorry|oh|at
answer-one = one|ones
answer-oz = oz|ounces|in oz|in ounces
answer-in-fridge = fridge|in fridge|refrigerator|in refrigerator|fridge now|in fridge now
answer-in-freezer = freezer|in freezer|freezer now|in freezer now
answer-in-water = warm water|in warm water|water|in water|bowl of warm water|in bowl of warm water|warm water bath
answer-in-room = counter|on counter|countertop|on countertop|table|on table|room|in room|room temp|room temperature|at room temp|at room temperature|out|out on counter

# buttons
button-undo = Undo
button-yes = Yes
button-same = Same
button-another = Another
button-other = Other
button-why = Why?
button-on-it = On it
button-done = Done
button-poured = Poured first
button-place-room = Counter
button-place-cooler = Cooler
button-place-fridge = Fridge
button-place-freezer = Freezer
button-place-deep_freezer = Deep freezer
button-how-fridge = Fridge
button-how-warm_water = Warm water
button-how-room = Counter

# reminders
remind-room-soon = { $name }: { $codes } · out of the cold · { $until }. Put it in the fridge or use it. Done = it is in the fridge.
remind-cooler-soon = { $name }: { $codes } · in the cooler · { $until }. Put it in the fridge or use it. Done = it is in the fridge.
remind-warmed-soon = { $name }: { $codes } · warmed · { $until }.
remind-fridge-soon = { $codes } · in the fridge · { $until }. Use it or freeze it. Done = it is in the freezer.
remind-thawed-soon = { $codes } · thawed · { $until }. Not to be frozen again.
remind-freezer-soon = { $codes } · in the freezer · { $until }. To be used first.
remind-past = { $codes } · past since { $time } by { $whose }'s times. Don't feed it. Done = thrown away.
remind-leftover-past = Started bottle { $codes } · past since { $time } by { $whose }'s times. Throw it away. Done = thrown away.
remind-plan = { $plan }
remind-check-due = { $codes } lay where the cold was lost. What did you find: hard, icy or liquid?
remind-check-due-unfrozen = { $codes } lay where the cold was lost. Is it still as cold as a fridge, or warm?
remind-check-due-both = { $codes } lay where the cold was lost. What did you find: hard, icy or liquid? And what was in the fridge: still cold or warm?
remind-held-due = { $name }: still on hold: { $codes }. Release or throw away, as you decide.
somebody = Whoever is there
and-so-on = { $list }
code-amount = { $code } · { $amount }
code-amount-site = { $code } · { $amount } at { $site }

# commands, as the platform offers them
command-help = What can be written here
command-stock = What there is, and until when
command-next = Which to take next
command-thaw = What to thaw for tomorrow
command-undo = Take back what was said last
