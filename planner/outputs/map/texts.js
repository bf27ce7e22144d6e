// Every text of the page by its key, in the language that is chosen; what a language lacks is said in English.

const ENGLISH = "en";
// Day before month in English; Portuguese as in Europe and Africa.
const LOCALES = { en: "en-GB", pt: "pt-PT" };

const speech = { language: ENGLISH, place: new Map(), texts: {}, fills: [] };

// block: { languages, keys, texts: { language: [text, …] } }; a text that is "" or not there is missing.
function readTexts({ keys, texts }, language) {
  keys.forEach((key, place) => speech.place.set(key, place));
  speech.texts = texts;
  turnTo(language);
}

function turnTo(language) {
  speech.language = Object.hasOwn(speech.texts, language) ? language : ENGLISH;
  document.documentElement.lang = speech.language;
}

function locale() {
  return LOCALES[speech.language] || speech.language;
}

function knows(key) {
  return speech.place.has(key);
}

// A key without a text is shown as it is, never hidden.
function template(key, language = speech.language) {
  const place = speech.place.get(key);
  return place === undefined ? key : speech.texts[language][place] || speech.texts[ENGLISH][place];
}

// say("page_row", { row: "7" }): each place is filled once, and what fills it is never looked at again.
function say(key, values = {}) {
  return template(key).replace(/\{(\w+)\}/g, (place, name) => (Object.hasOwn(values, name) ? String(values[name]) : place));
}

// The form for one or for several, as the language counts; {n} is the number itself.
function sayCount(key, n, values = {}) {
  const wanted = `${key}_${new Intl.PluralRules(locale()).select(n)}`;
  return say(knows(wanted) ? wanted : `${key}_other`, { n: wholeText(n), ...values });
}

// The same for elements: texts and elements in their order, for element(…, ...sayParts(key, { site: node })).
function sayParts(key, values) {
  return template(key)
    .split(/(\{\w+\})/)
    .map((part) => (/^\{\w+\}$/.test(part) && Object.hasOwn(values, part.slice(1, -1)) ? values[part.slice(1, -1)] : part))
    .filter((part) => part !== "");
}

// The words for a code of the data: sayCode("page_decision", "hold"). A code without words is shown as it is.
function sayCode(stem, code) {
  const key = `${stem}_${code.replaceAll("-", "_")}`;
  return knows(key) ? say(key) : code;
}

// A text that the run made: one for all languages, or one for each.
function told(text) {
  return text !== null && typeof text === "object" ? text[speech.language] || text[ENGLISH] : text;
}

function lower(text) {
  return text.toLocaleLowerCase(locale());
}

// Do it now, and again whenever another language is chosen: fill(…) must leave choices and focus as they are.
function whenSpoken(fill) {
  speech.fills.push(fill);
  fill();
}

function speak(language) {
  turnTo(language);
  for (const fill of speech.fills) fill();
}

// data-say is the text of an element; data-say-title, -label and -placeholder are its title, aria-label and placeholder.
function fillTemplate() {
  const each = (name, put) => document.querySelectorAll(`[data-${name}]`).forEach((one) => put(one, say(one.getAttribute(`data-${name}`))));
  each("say", (one, text) => one.replaceChildren(text));
  each("say-title", (one, text) => one.setAttribute("title", text));
  each("say-label", (one, text) => one.setAttribute("aria-label", text));
  each("say-placeholder", (one, text) => one.setAttribute("placeholder", text));
}

// The languages by their own names.
function startLanguages({ languages }) {
  const select = byId("language");
  for (const language of languages) {
    const option = element("option", "", template("page_language_name", language));
    option.value = language;
    option.lang = language;
    select.append(option);
  }
  select.value = speech.language;
  select.addEventListener("change", () => speak(select.value));
}
