// The supply curve as numbers: sites in order of cost, the volume they use adding up. Many sites are put together to
// few steps: the first and the last site stay steps of their own, so that the ends of the curve do not move.

const STEPS_AT_MOST = 600;

// The sites that can be in a curve, in order of cost; made once.
function costOrder(sites) {
  const cost = sites.cost_per_m3;
  const known = indexes(sites).filter((index) => isColoured(sites.decision[index]) && Number.isFinite(cost[index]) && sites.volume_used_m3_day[index] > 0);
  return Uint32Array.from(known.sort((left, right) => cost[left] - cost[right] || left - right));
}

// One step each: sites, sum of volume up to here, cost (mean by volume), volume funded and to equip in it.
function supplySteps(sites, order, wanted) {
  const list = order.filter((index) => wanted[index]);
  const volume = sites.volume_used_m3_day;
  const groups = list.length > STEPS_AT_MOST ? stepGroups(list, volume) : null;
  const steps = [];
  let group = -1;
  let total = 0;
  let funded = 0;
  for (let at = 0; at < list.length; at += 1) {
    const index = list[at];
    const own = groups ? groups[at] : at;
    if (own !== group) {
      steps.push({ from: total, funded: 0, equip: 0, worth: 0, first: index });
      group = own;
    }
    const step = steps[steps.length - 1];
    const amount = volume[index];
    total += amount;
    step.worth += amount * sites.cost_per_m3[index];
    if (sites.funding[index] === "funded") {
      funded += 1;
      step.funded += amount;
    } else if (sites.decision[index] === "equip") step.equip += amount;
    Object.assign(step, { sites: at + 1, fundedSites: funded, to: total, last: index });
  }
  for (const step of steps) step.cost = step.worth / (step.to - step.from);
  return steps;
}

// The group of each site: equal parts of the volume between the first and the last site.
function stepGroups(list, volume) {
  const groups = new Uint16Array(list.length);
  const last = list.length - 1;
  let inner = 0;
  for (let at = 1; at < last; at += 1) inner += volume[list[at]];
  let below = 0;
  for (let at = 1; at < last; at += 1) {
    groups[at] = 1 + Math.min(STEPS_AT_MOST - 3, Math.floor(((STEPS_AT_MOST - 2) * below) / inner));
    below += volume[list[at]];
  }
  groups[last] = STEPS_AT_MOST - 1;
  return groups;
}

// The step that a volume falls into.
function stepAt(steps, volume) {
  let low = 0;
  let high = steps.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (steps[middle].to < volume) low = middle + 1;
    else high = middle;
  }
  return low;
}
