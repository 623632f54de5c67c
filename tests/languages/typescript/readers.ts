// The three readers through a client generated from the OpenAPI document: the weekly list, a reminder pull, a status poll.
// What has to come out is in EXPECTED, taken from the raw answers; every difference ends this with an error.
import assert from "node:assert/strict";
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

type Task = components["schemas"]["UpkeepTask"];
type Reminder = components["schemas"]["Reminder"];

interface Expected {
  task_ids: string[];
  caution_count: number;
  first_title: string;
  reminder_ids: string[];
  system_id: string;
  component_id: string;
  visited_on: string;
  status_tag: string;
  next_titles: string[];
  runoff_30_days_l: number;
}

function env(name: string): string {
  const value = process.env[name];
  assert.ok(value, `${name} is not set`);
  return value;
}

const expected: Expected = JSON.parse(env("EXPECTED"));
const client = createClient<paths>({
  baseUrl: env("EAVESWARD_URL"),
  headers: { Authorization: `Bearer ${env("EAVESWARD_KEY")}` },
});

/** The property manager: what falls due this week, page by page. */
async function weeklyList(): Promise<void> {
  const tasks: Task[] = [];
  let cursor: string | undefined;
  let pages = 0;
  do {
    const query = { within: "P7D", limit: 3, cursor };
    const { data, error } = await client.GET("/v1/tasks", { params: { query } });
    assert.ok(data, `the list was refused: ${error?.detail}`);
    tasks.push(...data.items);
    cursor = data.next_cursor ?? undefined;
    pages += 1;
  } while (cursor !== undefined);
  assert.deepEqual(tasks.map((task) => task.id), expected.task_ids);
  assert.equal(pages, Math.ceil(expected.task_ids.length / 3));
  assert.ok(pages > 1, "one page proves no paging");
  assert.equal(tasks[0]?.title, expected.first_title);
  const cautions = tasks.reduce((sum, task) => sum + task.cautions.length, 0);
  assert.equal(cautions, expected.caution_count);
  for (const task of tasks) {
    assert.match(task.due_on ?? "none", /^\d{4}-\d\d-\d\d$/);
    assert.ok(["resting", "near", "due", "late"].includes(task.state), task.state);
  }
}

/** The installer's app: everything so far, nothing new, and then the visit that was just logged. */
async function reminders(): Promise<void> {
  const pull = async (after: string | undefined, wait?: number) => {
    const query = { after, wait, limit: 2 };
    const { data, error } = await client.GET("/v1/reminders", { params: { query } });
    assert.ok(data, `the feed was refused: ${error?.detail}`);
    return data;
  };
  const entries: Reminder[] = [];
  let feed = await pull(undefined);
  entries.push(...feed.items);
  while (feed.behind > 0) {
    feed = await pull(feed.cursor);
    entries.push(...feed.items);
  }
  assert.deepEqual(entries.map((entry) => entry.id), expected.reminder_ids);
  const kept = feed.cursor;
  const second = await pull(kept);
  assert.deepEqual(second.items, []);
  assert.equal(second.behind, 0);

  const { component_id, system_id, visited_on } = expected;
  const logged = await client.POST("/v1/visits", {
    params: { header: { "Idempotency-Key": "typescript-reader" } },
    body: {
      system_id,
      visited_on,
      items: [{ component_id, duty: "clean_screen", done: true, finding: { found: "class", fullness: "half" } }],
    },
  });
  assert.equal(logged.response.status, 201, logged.error?.detail);
  const third = await pull(second.cursor, 30);
  assert.equal(third.items[0]?.kind, "done");
  assert.equal(third.items[0]?.component_id, component_id);
  assert.equal(third.items[0]?.done_on, visited_on);
}

/** The dashboard: the status once, and then only whether it changed. */
async function statusPoll(): Promise<void> {
  const poll = (tag?: string) =>
    client.GET("/v1/systems/{id}/status", {
      params: { path: { id: expected.system_id }, header: { "If-None-Match": tag } },
    });
  const first = await poll();
  assert.ok(first.data, `the status was refused: ${first.error?.detail}`);
  const tag = first.response.headers.get("etag");
  assert.equal(tag, expected.status_tag);
  assert.equal(first.data.system_id, expected.system_id);
  assert.equal(first.data.runoff_30_days_l, expected.runoff_30_days_l);
  assert.deepEqual(first.data.next.map((duty) => duty.title), expected.next_titles);
  const second = await poll(tag ?? undefined);
  assert.equal(second.response.status, 304);
}

/** What is refused comes back as a typed problem. */
async function refusal(): Promise<void> {
  const { data, error, response } = await client.GET("/v1/tasks", { params: { query: { within: "soon" } } });
  assert.equal(data, undefined);
  assert.equal(response.status, 422);
  assert.equal(error?.code, "invalid");
  assert.equal(error?.errors?.[0]?.field, "within");
}

await weeklyList();
await statusPoll();
await reminders();
await refusal();
console.log("all readers are served");
