// Words of the page with figures put into their braces.

export const say = (text, values = {}) => Object.entries(values).reduce((said, [key, value]) => said.replace(`{${key}}`, value), text);
