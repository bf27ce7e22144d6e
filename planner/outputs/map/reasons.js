// Sentences, made of templates and data as the tool's own texts are: each place is filled once.

function readReasons(block, count) {
  const list = ({ counts, kinds, values }) => {
    let begin;
    let kindAt;
    let valueAt;
    return (index) => {
      if (!begin) {
        begin = starts(counts, count);
        kindAt = unpack(kinds, begin[count]);
        valueAt = unpack(values, begin[count]);
      }
      const found = [];
      for (let at = begin[index]; at < begin[index + 1]; at += 1) {
        const [rule, subject, limit, passed] = block.kinds[kindAt[at]];
        found.push({ rule, subject, limit, passed, value: block.amounts[valueAt[at]] });
      }
      return found;
    };
  };
  const reasons = list(block.reasons);
  const stops = list(block.stops);
  return {
    codes: (index) => [...new Set(reasons(index).map(({ rule }) => rule))],
    sentences: (index) => [...new Set(reasons(index).map((one) => sentence(one)))],
    // The gravest: reasons stand in the order of their weight, but for rules that are named because they hold.
    first(index) {
      const all = reasons(index);
      const gravest = all.find(({ passed }) => !passed) || all[0];
      return gravest ? sentence(gravest) : "";
    },
    // What stopped a pump family at a site, without the family's name in front.
    stop: (index, family) =>
      stops(index)
        .filter(({ subject }) => subject === family)
        .map((found) => capital(sentence(found, withoutSubject)))
        .join(" "),
  };
}

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

// "{subject}: the head …" and, in French, "{subject} : …" without their beginning.
function withoutSubject(text) {
  return text.replace(/^\{subject\}\s*:\s*/, "");
}

function sentence({ rule, subject, value, limit }, change = (text) => text) {
  const parts = { subject: familyWord(subject), value: plainNumber(value), limit: plainNumber(limit) };
  return change(template(rule)).replace(/\{(subject|value|limit)\}/g, (_, place) => parts[place]);
}

// What would change a decision: of each site the keys of its sentence's parts, and the number.
function readSwitches(block, count) {
  const kindAt = unpack(block.at, count);
  const valueAt = unpack(block.values, count);
  return (index) => {
    const [key, places] = block.kinds[kindAt[index]];
    if (!key) return places.text;
    const words = Object.fromEntries(Object.entries(places).map(([place, part]) => [place, say(part)]));
    return say(key, { ...words, value: plainNumber(block.amounts[valueAt[index]]) });
  };
}
