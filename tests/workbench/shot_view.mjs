// What the server says of a shot, asked as the page itself asks: with the tab's token.
export const shotView = (page) => page.evaluate(async () => (await fetch('/api/shots/0', {
  headers: { 'Workbench-Token': sessionStorage.getItem('workbench-token') },
})).json());
