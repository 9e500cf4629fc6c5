// The page asks for the view, shows it, and asks again; what a visitor does is posted. Words that people or the bot wrote
// are only ever set as text, never as markup.
'use strict';

(() => {
  const at = (id) => document.getElementById(id);
  const body = document.body;
  const log = at('log');
  const words = at('words');

  let version = null;
  let view = null;
  /** What the box is for at the moment: null (a new message), or { kind: 'reply' | 'edit', slip }. */
  let aim = null;
  const shown = new Map();
  /** From this length on, in characters, a line of several parts is shown as a list of them. */
  const LONG_LINE = 90;

  /** An element with properties and children; strings become text. */
  const make = (tag, properties = {}, ...children) => {
    const node = Object.assign(document.createElement(tag), properties);
    node.append(...children.filter((child) => child !== null && child !== ''));
    return node;
  };

  // --- what is shown ---

  function show(next) {
    const first = view === null;
    view = next;
    version = next.version;
    set('time', view.clock.time);
    set('day', view.clock.day);
    set('day-short', view.clock.short_day);
    set('next', view.clock.next ? `next at ${view.clock.next}` : 'nothing lies ahead');
    at('time').title = view.clock.zone;
    showPeople();
    showPosts(first);
    showBelief();
    showExamples();
    if (first) at('hints').open = !view.posts.length;
  }

  /** Sets a text only if it is another one, so that nothing is announced twice. */
  function set(id, text) {
    if (at(id).textContent !== text) at(id).textContent = text;
  }

  /** Runs `draw` only when `data` isn't what it was drawn from last time. */
  const drawn = new Map();
  function redraw(name, data, draw) {
    const key = JSON.stringify(data);
    if (drawn.get(name) === key) return;
    drawn.set(name, key);
    draw();
  }

  function showPeople() {
    redraw('people', view.people, () => {
      const choices = view.people.map((person, index) => {
        const radio = make('input', { type: 'radio', name: 'who', value: person.name, checked: index === 0 });
        const part = person.part ? make('small', {}, ` ${person.part}`) : null;
        return make('label', {}, radio, make('span', {}, person.name, part));
      });
      at('people').replaceChildren(at('people').querySelector('legend'), ...choices);
      invite();
    });
  }

  function speaker() {
    return at('people').querySelector('input:checked')?.value ?? '';
  }

  function speakAs(name) {
    for (const radio of at('people').querySelectorAll('input')) radio.checked = radio.value === name;
    invite();
  }

  function invite() {
    words.placeholder = `Write as ${speaker()}`;
  }

  function showPosts(first) {
    const ids = new Set(view.posts.map((slip) => slip.id));
    for (const [id, entry] of shown) {
      if (!ids.has(id)) {
        entry.node.remove();
        shown.delete(id);
      }
    }
    let grew = false;
    let day = null;
    view.posts.forEach((slip, index) => {
      const before = view.posts[index - 1];
      if (slip.day !== day && !shown.has(slip.id)) log.append(make('p', { className: 'day' }, slip.day));
      day = slip.day;
      grew = showPost(slip, before, first) || grew;
    });
    if (grew) log.scrollTop = log.scrollHeight;
  }

  /** Draws a post that is new or was changed. True if it is new. */
  function showPost(slip, before, first) {
    const key = JSON.stringify(slip);
    const old = shown.get(slip.id);
    if (old?.key === key) return false;
    const node = make('article', { className: `slip ${kindOf(slip)}`, tabIndex: -1 }, margin(slip), content(slip, before), acts(slip));
    node.dataset.id = slip.id;
    shown.set(slip.id, { key, node });
    if (!old) {
      if (!first) node.classList.add('new');
      node.addEventListener('animationend', () => node.classList.remove('new'));
      log.append(node);
      return true;
    }
    const held = old.node.contains(document.activeElement);
    old.node.replaceWith(node);
    if (held) node.focus();
    return false;
  }

  function kindOf(slip) {
    if (!slip.bot) return 'said';
    if (slip.reply_to !== null) return 'answer';
    return slip.silent ? 'quiet' : 'loud';
  }

  /** Who, when, and how it arrived. */
  function margin(slip) {
    const side = make('div', { className: 'who' }, make('b', {}, slip.by), slip.time);
    if (slip.edited) side.append(make('span', { className: 'changed' }, ` changed ${slip.edited}`));
    const kind = kindOf(slip);
    if (kind === 'loud') side.append(make('span', { className: 'sound' }, 'sounding'));
    if (kind === 'quiet') side.append(make('span', { className: 'sound' }, 'silent'));
    return side;
  }

  function acts(slip) {
    const row = make('div', { className: 'acts' }, act('reply', slip));
    if (!slip.bot && !slip.file) row.append(act('edit', slip));
    return row;
  }

  function act(kind, slip) {
    const name = `${kind === 'reply' ? 'Reply to' : 'Change'} ${slip.by}, ${slip.time}: ${slip.text}`;
    const button = make('button', { type: 'button', ariaLabel: name, onclick: () => take({ kind, slip }) }, kind);
    button.dataset.act = kind;
    return button;
  }

  function content(slip, before) {
    const box = make('div', { className: 'content' });
    const answered = slip.reply_to === null ? null : view.posts.find((post) => post.id === slip.reply_to);
    if (answered && answered !== before) {
      box.append(make('p', { className: 'quote' }, `to ${answered.by}, ${answered.time}: ${answered.text}`));
    }
    if (slip.file) box.append(attachment(slip));
    if (slip.text) box.append(slip.bot ? label(slip.text) : make('p', { className: 'text', dir: 'auto' }, slip.text));
    if (slip.buttons.length) box.append(buttons(slip));
    return box;
  }

  /** What the bot says, as a printed label; every line stays a line. */
  function label(text) {
    return make('div', { className: 'label' }, ...text.split('\n').map(row));
  }

  /** A line that begins with a container's number, or a word and such a number, shows it large. */
  function row(line) {
    const [, word, number, rest] = /^(?:([^:\d]{1,30}:) )?#?(\d{1,6}) · (.*)$/u.exec(line) ?? [];
    if (number === undefined) {
      const parts = line.split(' · ');
      const listed = parts.length > 2 && line.length > LONG_LINE ? ' listed' : '';
      return make('p', { className: `row${listed}`, dir: 'auto' }, ...pieces(parts));
    }
    const stamp = make('span', { className: 'stamp' }, word ? make('small', {}, `${word} `) : null, make('b', { className: 'no' }, number));
    const words = make('span', { className: 'facts' }, make('span', { className: 'unseen' }, ' · '), ...pieces(rest.split(' · ')));
    return make('p', { className: 'row numbered', dir: 'auto' }, stamp, words);
  }

  /** Parts of a line with their dots, so that it breaks between them and not within. */
  function pieces(parts) {
    return parts.flatMap((part, index) => {
      const last = index === parts.length - 1;
      const dot = last ? null : make('span', { className: 'dot' }, ' ·');
      return [make('span', { className: 'piece' }, part, dot), last ? null : ' '];
    }).filter((part) => part !== null);
  }

  function attachment(slip) {
    const [kind, name] = slip.file;
    const source = `/room/file/${slip.id}`;
    if (kind === 'photo') return make('img', { src: source, alt: slip.text || name });
    return make('p', {}, make('a', { href: source, download: name }, name));
  }

  function buttons(slip) {
    const row = make('div', { className: 'slip-buttons', role: 'group', ariaLabel: `Buttons of ${slip.by}, ${slip.time}` });
    for (const text of slip.buttons.flat()) {
      const press = () => post('press', { who: speaker(), message: slip.id, label: text });
      row.append(make('button', { type: 'button', onclick: press }, text));
    }
    return row;
  }

  // --- what the bot believes ---

  function showBelief() {
    const { shelves, totals, plan } = view.belief;
    redraw('belief', view.belief, () => {
      at('plan').replaceChildren(...plan.map((line) => make('p', {}, line)));
      at('shelves').replaceChildren(...shelves.map(board));
      at('totals').replaceChildren(
        ...totals.flatMap(([name, amount]) => [make('dt', {}, name), make('dd', {}, amount)]));
      if (!shelves.length) at('shelves').append(make('p', { className: 'bare' }, 'Nothing is on the books.'));
    });
    const count = shelves.reduce((sum, shelf) => sum + shelf.tapes.length, 0);
    document.querySelector('[data-shows="shelf"]').textContent = `The bot believes (${count})`;
  }

  function board(shelf) {
    const heading = make('h3', {}, shelf.name, make('span', {}, shelf.total));
    const tapes = make('ol', {}, ...shelf.tapes.map(tape));
    return make('section', { className: `board ${shelf.key}` }, heading, tapes);
  }

  function tape(container) {
    const strip = make('li', { className: container.caution ? 'tape wary' : 'tape' });
    strip.append(
      make('b', { className: 'code' }, `${container.code}`, turn(container.turn)),
      make('span', { className: 'amount' }, container.amount),
      make('span', { className: 'until' }, ...until(container)));
    if (container.caution) {
      // What is not to be used needs no more than which it is and why.
      strip.append(make('span', { className: 'caution' }, container.caution));
      strip.querySelector('.amount').append(make('small', {}, ` ${container.state}`));
    } else {
      const expressed = container.expressed && `expressed ${container.expressed}`;
      const fine = [container.state, expressed, container.why].filter(Boolean).join(' · ');
      strip.append(make('span', { className: 'fine' }, fine));
    }
    return strip;
  }

  function until(container) {
    const lines = [];
    if (container.best_by && container.best_by !== container.use_by) {
      lines.push(make('small', {}, `best ${container.best_by}`), make('br'));
    }
    if (container.use_by) lines.push(make('span', {}, make('small', {}, 'use by '), container.use_by));
    return lines;
  }

  /** Its place in the order of use. */
  function turn(place) {
    if (!place) return null;
    const ending = { one: 'st', two: 'nd', few: 'rd' }[new Intl.PluralRules('en', { type: 'ordinal' }).select(place)] ?? 'th';
    return make('span', { className: 'turn' }, place === 1 ? 'next' : `${place}${ending}`);
  }

  // --- what can be typed ---

  function showExamples() {
    const tapes = view.belief.shelves.flatMap((shelf) => shelf.tapes.map((one) => ({ ...one, key: shelf.key })));
    const cold = tapes.find((one) => one.key === 'fridge')?.code ?? 1;
    const frozen = tapes.find((one) => one.state === 'frozen')?.code ?? 1;
    const examples = [
      'pumped 120 ml fridge', '90+110 both frozen', 'fed 90 left 30', 'which one next?', "what's in the fridge",
      `#${cold} to the freezer`, `is ${cold} still ok?`, `thawing ${frozen} in the fridge`, 'what do I thaw?', 'undo',
    ];
    redraw('examples', examples, () => {
      at('examples').replaceChildren(...examples.map((text) => {
        const use = () => {
          words.value = text;
          words.focus();
        };
        return make('button', { type: 'button', onclick: use }, text);
      }));
    });
  }

  // --- what a visitor does ---

  function take(next) {
    aim = next;
    at('about').hidden = aim === null;
    set('words-name', aim === null ? 'Message' : aim.kind === 'edit' ? 'Changed message' : 'Reply');
    set('send', aim?.kind === 'edit' ? 'Change it' : 'Say it');
    if (aim === null) return;
    const { kind, slip } = aim;
    set('about-words', `${kind === 'edit' ? 'Changing' : 'Replying to'} ${slip.by}, ${slip.time}: ${slip.text}`);
    if (kind === 'edit') {
      speakAs(slip.by);
      words.value = slip.text;
    }
    words.focus();
  }

  function leave() {
    if (aim?.kind === 'edit') words.value = '';
    take(null);
    words.focus();
  }

  async function submit(event) {
    event.preventDefault();
    const text = words.value;
    if (!text.trim()) return;
    const done = aim?.kind === 'edit'
      ? await post('edit', { who: aim.slip.by, message: aim.slip.id, text })
      : await post('say', { who: speaker(), text, reply_to: aim?.slip.id ?? null });
    if (!done) return;
    words.value = '';
    at('hints').open = false;
    take(null);
    words.focus();
  }

  let passing = false;
  async function pass(until) {
    if (passing) return;
    setPassing(true);
    tell('Time passes…');
    const done = await post('pass', { until });
    setPassing(false);
    if (done) tell(done.passed ? '' : 'Nothing lies ahead that the bot would remind of.');
  }

  function setPassing(now) {
    passing = now;
    for (const button of document.querySelectorAll('[data-until]')) button.ariaDisabled = `${now}`;
  }

  /** Posts what was done; null if it could not be, after saying why. */
  async function post(what, data) {
    try {
      const answer = await fetch(`/room/${what}`, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(data),
      });
      const result = await answer.json();
      tell(result.error ?? '', 'error' in result);
      return answer.ok ? result : null;
    } catch {
      tell('The room does not answer. Is it still running?', true);
      return null;
    }
  }

  function tell(text, wrong = false) {
    at('status').classList.toggle('wrong', wrong);
    set('status', text);
  }

  function look(what) {
    body.dataset.view = what;
    for (const tab of document.querySelectorAll('[data-shows]')) tab.ariaPressed = `${tab.dataset.shows === what}`;
    if (what === 'talk') log.scrollTop = log.scrollHeight;
  }

  // --- from now on ---

  async function watch() {
    let lost = false;
    for (;;) {
      try {
        const answer = await fetch(version === null ? '/room/view' : `/room/view?since=${version}`);
        if (!answer.ok) throw new Error(`view: ${answer.status}`);
        show(await answer.json());
        if (lost) tell('');
        lost = false;
      } catch {
        lost = true;
        tell('The room does not answer. Is it still running?', true);
        await new Promise((again) => setTimeout(again, 1500));
      }
    }
  }

  at('say').addEventListener('submit', submit);
  at('leave').addEventListener('click', leave);
  at('people').addEventListener('change', invite);
  words.addEventListener('keydown', (event) => {
    if (event.key === 'Enter' && !event.shiftKey && !event.isComposing) {
      event.preventDefault();
      at('say').requestSubmit();
    }
  });
  document.addEventListener('keydown', (event) => {
    if (event.key === 'Escape' && aim !== null) leave();
  });
  for (const button of document.querySelectorAll('[data-until]')) {
    button.addEventListener('click', () => pass(button.dataset.until));
  }
  for (const tab of document.querySelectorAll('[data-shows]')) tab.addEventListener('click', () => look(tab.dataset.shows));
  words.focus();
  watch();
})();
