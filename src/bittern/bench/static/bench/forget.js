// At the login page nothing of a run stays on the device but entries that the server has not got: somebody else may
// use it now. Those are sent once the person who made them logs in again.

import { openStore } from "./runner_store.js";

const forget = async () => {
  await (await openStore()).clear();
  const registrations = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  await Promise.all(registrations.map((one) => one.unregister()));
  const names = window.caches ? await caches.keys() : [];
  await Promise.all(names.filter((name) => name.startsWith("bittern-runner ")).map((name) => caches.delete(name)));
};

forget().catch(() => {});
