// The sites shown as a CSV file, made in the page: machine names and plain numbers, as sites.csv has them; positions as
// the map has them. A text that a spreadsheet would take for a formula gets an apostrophe in front.

const ROWS_A_PART = 4000;

function startDownload(names, context, list) {
  const button = byId("download");
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      saveFile(await tableParts(names, context, list()), tableName(context.run, list().length < context.sites.count));
    } finally {
      button.disabled = false;
    }
  });
}

function tableName(run, part) {
  return `sites_${part ? "filtered_" : ""}${run.run_id.replace(/[^\w-]/g, "")}.csv`;
}

// Some thousand rows at a time, so that the page stays awake.
async function tableParts(names, { sites, run, reasons }, list) {
  const columns = names.map((name) => columnOf(sites, name)).filter(Boolean);
  const last = [csvText(run.run_id), csvText(run.currency), csvText(run.price_year)].join(",");
  const heads = [...columns.map(({ name }) => name), "reason_codes", "reason_text", "run_id", "currency", "price_year"];
  const parts = [`\ufeff${heads.join(",")}\r\n`];
  for (let from = 0; from < list.length; from += ROWS_A_PART) {
    const rows = Array.from(list.slice(from, from + ROWS_A_PART), (index) => {
      const cells = columns.map(({ at }) => at(index));
      return `${cells.join(",")},${reasons.codes(index).join(";")},${csvText(reasons.sentences(index).join(" "))},${last}\r\n`;
    });
    parts.push(rows.join(""));
    await new Promise((done) => setTimeout(done, 0));
  }
  return parts;
}

function columnOf(sites, name) {
  const [, month] = /^demand_(\d\d)$/.exec(name) || [];
  if (month) return { name, at: (index) => csvNumber(monthDemand(sites, index, Number(month) - 1)) };
  const values = sites[name];
  if (!values) return null;
  return { name, at: typeof values[0] === "number" ? (index) => csvNumber(values[index]) : (index) => csvText(inEnglish(values[index])) };
}

function monthDemand(sites, index, month) {
  const pattern = sites.season[index];
  return Math.round((10 * sites.design_demand_m3_day[index] * pattern[month]) / pattern[sites.design_month[index] - 1]) / 10;
}

// A sentence of the run in the language of the other columns.
function inEnglish(text) {
  return typeof text === "object" ? text[ENGLISH] : text;
}

function csvNumber(value) {
  return Number.isFinite(value) ? String(value) : "";
}

function csvText(text) {
  const safe = /^[=+\-@\t\r]/.test(text) && !isNumberText(text) ? `'${text}` : text;
  return /[",\r\n\t;]|^\s|\s$/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

function isNumberText(text) {
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(text);
}

function saveFile(parts, name) {
  const link = element("a");
  link.href = URL.createObjectURL(new Blob(parts, { type: "text/csv;charset=utf-8" }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}
