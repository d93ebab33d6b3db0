// What a page does by itself: tell its state, let live pictures take the place of stored
// ones, and name controls for software that reads aloud.
(() => {
  'use strict';
  const settings = JSON.parse(document.getElementById('jupyter-config-data').textContent);
  const notice = document.getElementById('notice');
  const main = document.getElementById('main');

  function tell(words, { broken = false, again = false } = {}) {
    notice.textContent = words;
    notice.classList.toggle('is-quiet', !words);
    notice.classList.toggle('is-broken', broken);
    if (again) {
      const button = document.createElement('button');
      button.textContent = 'Start this page again';
      button.addEventListener('click', () => location.reload());
      notice.append(' ', button);
    }
    if (broken) notice.scrollIntoView({ block: 'nearest' });
  }

  const states = new EventSource('/state/' + settings.kernelId);
  states.onmessage = (message) => {
    const { state, words } = JSON.parse(message.data);
    document.body.dataset.state = state;
    if (state === 'ended' || state === 'broken') {
      tell(words, { broken: true, again: true });
      if (state === 'ended') states.close();
    } else {
      tell(words);
      if (state === 'ready') setTimeout(lookForGaps, 8000);
    }
  };
  states.onerror = () => {
    document.body.dataset.state = 'unreachable';
    const gone = states.readyState === EventSource.CLOSED;
    tell(gone
      ? 'This page has lost its place on the server. What you see stays.'
      : 'The server of this page does not answer. What you see stays; it is tried again.',
      { broken: true, again: gone });
  };

  // Results come over a connection of their own, which may break on a bad network. The
  // page's kernel still has them: loading the page again fetches all.
  function lookForGaps() {
    if (document.querySelector('.computed:not(.has-live)')) {
      tell('A part of this page got lost on the way.', { broken: true, again: true });
    }
  }

  // A cell's own result has come: hide what was stored in its place.
  function settle(cell) {
    const wrapper = cell.querySelector('.jp-Cell-outputWrapper');
    if (!wrapper) return;
    cell.classList.add('has-live');
    cell.classList.toggle('is-empty', !wrapper.querySelector('.jp-OutputArea-child'));
  }

  // The text beside a control becomes the name of what is moved or typed into.
  function name(box) {
    const label = box.querySelector('.widget-label, label');
    const words = label && label.textContent.trim();
    if (!words) return;
    for (const part of box.querySelectorAll('[role=slider], input, select, textarea')) {
      if (!part.getAttribute('aria-label') && !(part.labels && part.labels.length)
          && !part.getAttribute('aria-labelledby')) {
        part.setAttribute('aria-label', words);
      }
    }
  }

  // A picture that brings no words of its own is called after what stands above it.
  function describe(picture) {
    let place = picture.closest('.computed'), heading = null;
    while (place && !heading) {
      place = place.previousElementSibling;
      const inside = place && place.querySelectorAll('h1, h2, h3');
      heading = inside && inside.length ? inside[inside.length - 1] : null;
    }
    const words = heading ? heading.textContent.trim() : document.title;
    picture.alt = 'Picture to "' + words + '"; the text beside it says what it shows.';
  }

  const buttons = { 'fa-play': 'play', 'fa-pause': 'pause', 'fa-stop': 'stop', 'fa-retweet': 'repeat' };
  function nameButton(button) {
    const found = Object.keys(buttons).find((icon) => button.querySelector('.' + icon));
    if (found) button.setAttribute('aria-label', buttons[found]);
  }

  // What can be scrolled must be reached by keys.
  function reach(box) {
    if (box.scrollWidth > box.clientWidth + 1) box.tabIndex = 0;
  }

  const scrolled = 'mjx-container, .prose p, .prose table, .live .jp-RenderedHTML, '
    + '.live .jp-RenderedImage, .live .widget-html-content, .live .coreward-tables, '
    + '.live .coreward-scroll, .stored';

  // Only what is in a place, or around it: a slider changes a page many times a second.
  function lookAfter(place) {
    const each = (selector, act) => {
      for (let box = place.closest(selector); box; box = box.parentElement.closest(selector)) {
        act(box);
      }
      place.querySelectorAll(selector).forEach(act);
    };
    each('.computed', settle);
    each('.live [class*="coreward-control-"]', name);
    each('.live img:not([alt])', describe);
    each('.live .widget-play button', nameButton);
    each(scrolled, reach);
  }

  // What a live cell shows names notebooks; here they are pages.
  document.addEventListener('click', (event) => {
    const link = event.target.closest && event.target.closest('a[href]');
    const found = link && /^(?:\.\/)?([\w-]+)\.ipynb(#[\w-]*)?$/.exec(link.getAttribute('href'));
    if (!found || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    event.stopPropagation();
    location.assign('/page/' + found[1] + (found[2] || ''));
  }, true);

  const changed = new Set();
  function lookSoon(places) {
    if (!changed.size) requestAnimationFrame(lookAtChanged);
    places.forEach((place) => changed.add(place));
  }
  function isInside(place) {
    let box = place.parentElement;
    while (box && !changed.has(box)) box = box.parentElement;
    return Boolean(box);
  }
  function lookAtChanged() {
    const places = [...changed].filter((place) => place.isConnected && !isInside(place));
    changed.clear();
    places.forEach(lookAfter);
  }
  // What was only shown, or made wider, tells nobody: once it is quiet, all is looked at.
  let quiet = 0;
  new MutationObserver((records) => {
    lookSoon(records.map((record) => record.target));
    clearTimeout(quiet);
    quiet = setTimeout(() => lookSoon([main]), 500);
  }).observe(main, { childList: true, subtree: true });
  // What stands on the page from the start, and widths that follow letters or the window.
  lookSoon([main]);
  for (const event of ['load', 'resize']) {
    window.addEventListener(event, () => lookSoon([main]));
  }
})();
