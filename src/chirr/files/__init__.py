"""The farm folder and the workbook, to and from the plain records; every fault found is collected with its place."""
